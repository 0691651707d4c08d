"""The link from air to rind: what the air did to wheels, related to what inspections and gradings found.

`study` asks a small set of questions laid down beforehand and fits penalised models, style by style, and says
"not enough wheels yet" where that is the answer; `monitor.link.document` writes it for people and screens.
"""

from monitor.link.life import Life, lives_of
from monitor.link.study import Study, study

__all__ = ["Life", "Study", "lives_of", "study"]
