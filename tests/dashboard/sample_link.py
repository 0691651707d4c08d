"""A sample of the evidence document: an invented dairy's answers, shown, open and too few."""

from __future__ import annotations

from datetime import datetime

from monitor.clock import now, rfc3339
from tests.dashboard.sample_documents import HOSTILE, Document


def link(state: str = "normal", at: datetime | None = None) -> Document:
    """The evidence document of a state."""
    at = at or now()

    def share(found: int, of: int) -> Document:
        return {
            "found": found,
            "of": of,
            "share": {"value": found / of, "low": max(0.0, found / of - 0.09), "high": found / of + 0.11},
        }

    def answer(key: str, verdict: str, sentence: str, counts: Document | None, p: float | None) -> Document:
        return {
            "key": key,
            "fault": "cracks",
            "state": verdict,
            "sentence": sentence,
            "counts": counts,
            "p": p,
            "p_corrected": p,
            "needs": None,
        }

    counts = {
        "more": share(23, 41),
        "less": share(11, 73),
        "difference": {"value": 0.41, "low": 0.25, "high": 0.56},
        "ratio": {"value": 3.7, "low": 2.1, "high": 6.6},
        "design_effect": 1.4,
    }
    few = {**counts, "more": share(9, 40), "less": share(12, 74)}
    style = {
        "style": "cloth-bound", "style_name": "Cloth-bound", "wheels": 114,
        "answers": [
            answer("mites", "not enough wheels yet", "Not enough wheels yet to tell whether wheels that lay warm have mites more often: some 30 more.", None, None),
            answer("dry", "shown", "Wheels that dried hard in their first two months had cracks 3.7 times as often (between 2.1 and 6.6): 23 of 41 against 11 of 73. " + HOSTILE, counts, 0.004),
            answer("damp", "not shown", "No link shown: wheels that lay damp had blue under the cloth in 9 of 40 against 12 of 74, which may be chance.", few, 0.61),
        ],
        "faults": [
            {"fault": "cracks", "fault_name": "cracks", "followed": 114, "makes": 19, "found": 34, "by_age": [{"age_days": 30.0 * n, "share": 0.03 * n} for n in range(1, 11)], "state": "shown", "needs": None,
             "skill": {"auc": {"value": 0.74, "low": 0.66, "high": 0.81}, "calibration_slope": {"value": 0.9, "low": 0.6, "high": 1.2}, "expected": 31.2, "found": 34, "brier": 0.15, "brier_of_mean": 0.21},
             "make_spread": 0.4, "drivers": [{"name": "hard", "words": "drying since the last look", "odds_ratio": 2.4}]},
            {"fault": "mites", "fault_name": "mites", "followed": 60, "makes": 9, "found": 3, "by_age": [], "state": "not enough wheels yet", "needs": "20 more findings", "skill": None, "make_spread": None, "drivers": []},
        ],
    }  # fmt: skip
    chances = [{"wheel": "K-114", "chances": {"cracks": {"value": 0.41, "low": 0.22, "high": 0.63}}}]
    return {"version": 1, "at": rfc3339(at), "styles": [] if state == "empty" else [style], "wheels": [] if state == "empty" else chances, "cautions": ["Wheels that went through the same air shared other things too."]}  # fmt: skip
