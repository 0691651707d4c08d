"""The ``evidence`` document: what a dairy's own numbers say of air and rind, and what they do not say yet."""

from __future__ import annotations

from typing import Any

from monitor.clock import rfc3339
from monitor.link.counting import Contrast, Group
from monitor.link.features import FAULTS, FEATURES
from monitor.link.kept import Studied
from monitor.link.questions import Answer
from monitor.link.skill import Skill
from monitor.link.study import Fault, StyleStudy
from monitor.site import Site

VERSION = 1
CAUTIONS = (
    "Wheels that went through the same air shared other things too: what goes together need not be cause and effect.",
    "Questions, cuts and directions were laid down before any wheel was looked at; p is corrected over a style's questions (Holm).",
    "A chance is no judgement of safety: local food-safety rules and licensed practice decide, raw milk above all.",
)


def evidence_document(site: Site, made: Studied) -> dict[str, Any]:
    """The ``evidence`` document (see ``monitor/docs/json.md``)."""
    return {
        "version": VERSION,
        "at": rfc3339(made.at_ms),
        "styles": [_style(site, one) for one in made.link.styles.values()],
        "wheels": [
            {"wheel": name, "chances": {fault: chance.document() for fault, chance in chances.items()}}
            for name, chances in sorted(made.link.chances.items())
        ],
        "cautions": list(CAUTIONS),
    }


def _style(site: Site, one: StyleStudy) -> dict[str, Any]:
    return {
        "style": one.style,
        "style_name": site.style_by_id[one.style].name,
        "wheels": one.wheels,
        "answers": [_answer(answer) for answer in one.answers],
        "faults": [_fault(fault) for fault in one.faults.values()],
    }


def _answer(answer: Answer) -> dict[str, Any]:
    return {
        "key": answer.question.key,
        "fault": answer.question.fault,
        "state": answer.state,
        "sentence": sentence(answer),
        "counts": None if answer.contrast is None else _counts(answer.contrast),
        "p": _rounded(answer.p),
        "p_corrected": _rounded(answer.p_adjusted),
        "needs": answer.needs or None,
    }


def sentence(answer: Answer) -> str:
    """An answer in the dairy's own numbers, in one sentence."""
    fault = FAULTS[answer.question.fault]
    if answer.contrast is None:
        return f"Not enough wheels yet to tell whether wheels that {answer.words} have {fault} more often: {answer.needs}."
    group = answer.contrast
    counted = f"{group.more.found} of {group.more.of} against {group.less.found} of {group.less.of}"
    if answer.state != "shown":
        return f"No link shown: wheels that {answer.words} had {fault} in {counted}, which may be chance; {answer.needs}."
    if group.ratio is None:
        points = group.difference
        more = f"{100 * points.value:.0f} in 100 more often (between {100 * points.low:.0f} and {100 * points.high:.0f})"
    else:
        more = f"{group.ratio.value:.1f} times as often (between {group.ratio.low:.1f} and {group.ratio.high:.1f})"
    return f"Wheels that {answer.words} had {fault} {more}: {counted}."


def _counts(group: Contrast) -> dict[str, Any]:
    return {
        "more": _group(group.more),
        "less": _group(group.less),
        "difference": group.difference.document(),
        "ratio": group.ratio.document() if group.ratio else None,
        "design_effect": round(group.design_effect, 2),
    }


def _group(group: Group) -> dict[str, Any]:
    return {"found": group.found, "of": group.of, "share": group.share.document()}


def _fault(fault: Fault) -> dict[str, Any]:
    model, (ages, shares) = fault.model, fault.by_age
    state = "not enough wheels yet" if model is None else "shown" if model.is_shown else "not shown"
    return {
        "fault": fault.name,
        "fault_name": FAULTS[fault.name],
        "followed": fault.followed,
        "makes": fault.makes,
        "found": fault.found,
        "by_age": [
            {"age_days": round(float(a), 1), "share": round(float(s), 4)}
            for a, s in zip(ages, shares, strict=True)
        ],
        "state": state,
        "needs": fault.needs or None,
        "skill": None if model is None else _skill(model.skill),
        "make_spread": None if model is None else round(model.spread, 3),
        "drivers": []
        if model is None or not model.is_shown
        else _drivers(fault.name, model.hazard.effects()),
    }


def _skill(skill: Skill) -> dict[str, Any]:
    return {
        "auc": skill.auc.document(),
        "calibration_slope": skill.slope.document(2),
        "expected": round(skill.expected, 1),
        "found": skill.found,
        "brier": round(skill.brier, 4),
        "brier_of_mean": round(skill.brier_of_mean, 4),
    }


def _drivers(fault: str, effects: dict[str, float]) -> list[dict[str, Any]]:
    return [
        {"name": feature.name, "words": feature.words, "odds_ratio": round(effects[feature.name], 2)}
        for feature in FEATURES[fault]
        if feature.name != "span"
    ]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 4)
