"""The link from air to rind: what the air did to wheels, related to what inspections and gradings found.

`monitor.link.study.study` asks a small set of questions laid down beforehand and fits penalised models, style by style,
and says "not enough wheels yet" where that is the answer; `monitor.link.document` writes it for people and screens.
Nothing is imported here: the statistics libraries are large, and most commands do without them.
"""
