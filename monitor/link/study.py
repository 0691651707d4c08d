"""The whole link of a dairy at a moment: answers, models with their skill, and the chances of each wheel still there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import rankdata

from monitor.clock import DAY_MS
from monitor.link.exposure import Exposures
from monitor.link.features import (
    FAULTS,
    FEATURES,
    Course,
    courses_of,
    spans_of,
    table_of,
)
from monitor.link.hazard import LEAST_CHANCE, Hazard, chance_by_wheel, fit_hazard, left_out_chance
from monitor.link.life import Life
from monitor.link.questions import SURE, Answer, Question, ask, asked, corrected, questions_for
from monitor.link.skill import Ranged, Skill, skill_of
from monitor.link.spread import reach_of
from monitor.link.turnbull import shares_by_age

Floats = npt.NDArray[np.float64]
LEAST_OF_EACH, LEAST_MAKES = 20, 8
"""A model is fitted from so many wheels with the fault and so many without, of so many makes."""
NINETY = 1.645
RISK_THIRD = Question("model", "", "model", 0, 0.0, "stood in the third at most risk by their air", ())


@dataclass(frozen=True)
class Model:
    """A fault's model: skill on makes left out, the spread of makes about it, and whether it may be believed.

    ``spread``: standard deviation of wheels' own log odds about what the model says (of a normal as wide at 90 %).
    ``left_out``: what was said of each wheel by a model that knew none of its make, ``fitted``: by the model itself, by name.
    """

    hazard: Hazard
    skill: Skill
    spread: float
    left_out: dict[str, float]
    fitted: dict[str, float]
    answer: Answer
    is_shown: bool = False

    def ranged(self, chance: float) -> Ranged:
        """A chance with the 90 % interval that makes and wheels differ by."""
        odds = np.log(chance / (1.0 - chance))
        low, high = (1.0 / (1.0 + np.exp(-(odds + k * NINETY * self.spread))) for k in (-1, 1))
        return Ranged(chance, float(low), float(high))


@dataclass(frozen=True)
class Fault:
    """What is known of one fault in one style: wheels followed and found, shares by age [d], its model or its needs."""

    name: str
    followed: int
    makes: int
    found: int
    by_age: tuple[Floats, Floats]
    model: Model | None = None
    needs: str = ""


@dataclass(frozen=True)
class StyleStudy:
    """A style's faults and answers."""

    style: str
    wheels: int
    faults: dict[str, Fault]
    answers: list[Answer]


@dataclass
class Study:
    """The link of a dairy; ``chances``: of wheels still there, by name and fault, that it has a fault not found yet."""

    styles: dict[str, StyleStudy] = field(default_factory=dict)
    chances: dict[str, dict[str, Ranged]] = field(default_factory=dict)

    @property
    def claims(self) -> int:
        """How many links are shown."""
        return sum(a.state == "shown" for s in self.styles.values() for a in s.answers)


def study(lives: Sequence[Life], exposures: Exposures) -> Study:
    """Relate the air of wheels to what was found on them.

    Parameters
    ----------
    lives : wheels up to the moment of the study; of styles that the site knows
    exposures : their doses
    """
    known = [life for life in lives if life.style in exposures.site.style_by_id]
    exposures.live_again(known)
    courses = {fault: courses_of(fault, known) for fault in FAULTS}
    models = {fault: _model(fault, some, exposures) for fault, some in courses.items()}
    result = Study()
    for style in sorted({life.style for life in known}):
        result.styles[style] = _style(style, known, courses, models, exposures)
    _say_chances(result, known, courses, exposures)
    return result


def _style(
    name: str,
    lives: Sequence[Life],
    courses: dict[str, list[Course]],
    models: dict[str, Model | None],
    exposures: Exposures,
) -> StyleStudy:
    style = exposures.site.style_by_id[name]
    own = {fault: [c for c in some if c.life.style == name] for fault, some in courses.items()}
    expected = {fault: model.fitted for fault, model in models.items() if model}
    answers = [ask(q, style, own[q.fault], exposures, expected.get(q.fault)) for q in questions_for(style)]
    modelled = [fault for fault in FAULTS if models[fault] and _enough(own[fault])]
    answers += [_of_model(fault, own[fault], models[fault]) for fault in modelled]
    answers = corrected(answers)
    faults = {fault: _fault(fault, own[fault]) for fault in FAULTS if own[fault]}
    for fault, verdict in zip(modelled, answers[len(answers) - len(modelled) :], strict=True):
        model = models[fault]
        assert model is not None
        shown = replace(model, answer=verdict, is_shown=verdict.state == "shown")
        before = faults[fault]
        faults[fault] = Fault(
            fault, before.followed, before.makes, before.found, before.by_age, shown, verdict.needs
        )
    return StyleStudy(name, sum(life.style == name for life in lives), faults, answers)


def _fault(name: str, courses: list[Course]) -> Fault:
    found = sum(course.found for course in courses)
    makes = len({course.life.make for course in courses})
    low, high = [], []
    for course in courses:
        clear, made = course.sight.clear_ms, course.life.made_ms
        until = course.sight.clear_ms if course.found else course.followed_ms
        low.append(((until if until is not None else clear or made) - made) // DAY_MS)
        high.append(-((made - (course.sight.found_ms or 0)) // DAY_MS) if course.found else np.inf)
    needs = "" if _enough(courses) else _needs(courses)
    return Fault(name, len(courses), makes, found, shares_by_age(low, high), None, needs)


def _enough(courses: Sequence[Course]) -> bool:
    return not _needs(courses)


def _needs(courses: Sequence[Course]) -> str:
    found = sum(course.found for course in courses)
    clear, makes = len(courses) - found, len({course.life.make for course in courses})
    lacks = [
        f"{least - have} more {what}"
        for have, least, what in (
            (found, LEAST_OF_EACH, "wheels with the fault"),
            (clear, LEAST_OF_EACH, "wheels without it"),
            (makes, LEAST_MAKES, "makes"),
        )
        if have < least
    ]
    return "it needs " + ", ".join(lacks) if lacks else ""


def _model(fault: str, courses: list[Course], exposures: Exposures) -> Model | None:
    """The model of a fault over all styles, with its skill on makes left out; None where wheels are too few."""
    if not _enough(courses):
        return None
    features = tuple(feature.name for feature in FEATURES[fault])
    table = table_of(fault, courses, exposures)
    said = left_out_chance(table, features).dropna()
    kept = [courses[number] for number in said.index]
    found = np.array([course.found for course in kept], dtype=float)
    makes = np.array([course.life.make for course in kept], dtype=object)
    chance = said.to_numpy()
    left_out = {course.life.name: float(p) for course, p in zip(kept, chance, strict=True)}
    spread = reach_of(found, chance, makes) / NINETY
    skill = skill_of(found, chance, makes)
    hazard = fit_hazard(table, features)
    fitted = {courses[int(str(number))].life.name: float(p) for number, p in hazard.by_wheel(table).items()}
    return Model(
        hazard,
        skill,
        spread,
        left_out,
        fitted,
        Answer(RISK_THIRD, "not shown", RISK_THIRD.words),
    )


def _of_model(fault: str, courses: list[Course], model: Model | None) -> Answer:
    """The model's own question: do wheels that it puts at more risk, unseen, have the fault more often?"""
    assert model is not None
    kept = [course for course in courses if course.life.name in model.left_out]
    score = np.array([model.left_out[course.life.name] for course in kept])
    question = Question("model", fault, "model", 0, 0.0, RISK_THIRD.words, ())
    exposed = score > np.quantile(score, 2 / 3) if len(score) else np.zeros(0, dtype=bool)
    if not exposed.any():
        return Answer(question, "not enough wheels yet", question.words)
    return asked(question, question.words, kept, exposed, rankdata(score) / len(score), model.fitted)


def _say_chances(
    result: Study, lives: Sequence[Life], courses: dict[str, list[Course]], exposures: Exposures
) -> None:
    """Chances of wheels still there, from models that are shown."""
    for fault in FAULTS:
        by_name = {course.life.name: course for course in courses[fault]}
        shown = {
            style: known.faults[fault].model
            for style, known in result.styles.items()
            if fault in known.faults and _is_shown(known.faults[fault])
        }
        for style, model in shown.items():
            assert model is not None
            open_wheels = [
                (life, by_name.get(life.name))
                for life in lives
                if life.style == style and not life.gone and not _found(by_name.get(life.name))
            ]
            for name, chance in _unseen(fault, open_wheels, model.hazard, exposures).items():
                result.chances.setdefault(name, {})[fault] = model.ranged(chance)


def _is_shown(fault: Fault) -> bool:
    return fault.model is not None and fault.model.is_shown


def _found(course: Course | None) -> bool:
    return course is not None and course.found


def _unseen(
    fault: str, wheels: Sequence[tuple[Life, Course | None]], hazard: Hazard, exposures: Exposures
) -> dict[str, float]:
    """Chance of each wheel that its fault would be found now, given that it was clear at its last clear look."""
    rows: list[tuple[object, ...]] = []
    for number, (life, course) in enumerate(wheels):
        clear_ms = course.sight.clear_ms if course and course.sight.clear_ms else life.made_ms
        looks = [at_ms for at_ms, _ in course.looks if at_ms <= clear_ms] if course else []
        rows += spans_of(fault, number, life, [*looks, max(life.until_ms, clear_ms + DAY_MS)], exposures)
    if not rows:
        return {}
    columns = ["wheel", "make", "style", "from_ms", "to_ms", *(f.name for f in FEATURES[fault])]
    table = pd.DataFrame(rows, columns=columns)
    chance = hazard.chance(table)
    last = ~table.duplicated("wheel", keep="last").to_numpy()
    now = hazard.calibrated(chance_by_wheel(table, chance))
    then = hazard.calibrated(chance_by_wheel(table[~last], chance[~last])).reindex(now.index).fillna(0.0)
    unseen = ((now - then) / (1.0 - then)).clip(LEAST_CHANCE, 1.0 - LEAST_CHANCE)
    return {wheels[int(str(number))][0].name: float(value) for number, value in unseen.items()}


__all__ = ["SURE", "Fault", "Model", "Study", "StyleStudy", "study"]
