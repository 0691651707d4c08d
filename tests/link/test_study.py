"""The link on a small simulated dairy, whose truth is known; fifty large ones: tests.system.link_on_simulated_sites."""

from __future__ import annotations

import json

import numpy as np
import pytest

from monitor.clock import DAY_MS
from monitor.link.document import evidence_document
from monitor.link.features import courses_of
from monitor.link.kept import Studied
from monitor.link.life import Life
from monitor.link.sightings import looks_for, sight_of
from monitor.link.skill import area_under_roc
from monitor.link.spread import reach_of
from monitor.link.study import Study, study
from sensors_sim.outcomes import DAY_S
from tests.link import known
from tests.link.sites import Simulated, simulate, when

SEED, MAKES, DAYS = 3, 20, 150.0


@pytest.fixture(scope="module")
def run() -> Simulated:
    """Twenty makes of five wheels over five months."""
    return simulate(SEED, MAKES, DAYS)


@pytest.fixture(scope="module")
def link(run: Simulated) -> Study:
    return study(known.lives(run, "linked", DAYS), known.exposures(run))


def test_air_sorts_wheels_whose_make_the_model_never_saw(run: Simulated, link: Study) -> None:
    """Wheels that truly cracked were mostly put at more risk than those that did not."""
    model = link.styles["thornwick"].faults["cracks"].model
    assert model is not None
    truth = {w.id: float(c > 0) for w, c in zip(run.wheels, run.outcomes["linked"].cracks, strict=True)}
    said = np.array(list(model.left_out.values()))
    assert area_under_roc(np.array([truth[name] for name in model.left_out]), said) > 0.7
    assert model.is_shown


def test_the_study_counts_what_a_person_would(run: Simulated, link: Study) -> None:
    lives = known.lives(run, "linked", DAYS)
    found = sum(course.found for course in courses_of("cracks", lives))
    assert link.styles["thornwick"].faults["cracks"].found == found
    answer = link.styles["thornwick"].answers[0]
    if answer.contrast is not None:
        group = answer.contrast
        assert group.more.found + group.less.found <= found
        assert len(answer.more) + len(answer.less) == group.more.of + group.less.of


def test_the_dry_and_the_cracked_are_those_that_plain_counting_gives(run: Simulated, link: Study) -> None:
    """Days under 80 % in the first two months, record by record from the sensed air; cracks, look by look."""
    answer = link.styles["thornwick"].answers[0]
    group, lives = answer.contrast, {life.name: life for life in known.lives(run, "linked", DAYS)}
    assert group is not None
    dry = {name: _days_under(run, lives[name], 80.0, 60) for name in (*answer.more, *answer.less)}
    assert {name for name, days in dry.items() if days > answer.cut} == set(answer.more)
    cracked = {name for name in dry if sight_of(looks_for("cracks", lives[name].entries)).found_ms}
    assert group.more.found == len(cracked & set(answer.more))
    assert group.less.found == len(cracked & set(answer.less))
    assert (group.more.of, group.less.of) == (len(answer.more), len(answer.less))


def _days_under(run: Simulated, life: Life, limit_pct: float, days: int) -> float:
    """Days under a humidity in the first days of a wheel, silent times counted at the mean of the rest."""
    under = heard = 0
    for room, place, start, end in life.stays:
        _, humidity = run.air[room, place]
        until = min(end, life.made_ms + days * DAY_MS)
        here = (run.start_ms >= start) & (run.start_ms < until) & ~np.isnan(humidity)
        heard += int(here.sum())
        under += int((humidity[here] < limit_pct).sum())
    return under / heard * days


def test_where_faults_have_nothing_to_do_with_the_air_nothing_is_claimed(run: Simulated) -> None:
    made = study(known.lives(run, "chance", DAYS), known.exposures(run))
    assert made.claims == 0
    assert made.chances == {}


def test_few_wheels_are_told_what_they_lack(run: Simulated) -> None:
    """Four makes make no law: every answer says so, with what more it takes."""
    first = known.lives(run, "linked", DAYS)[:20]
    few = study(first, known.exposures(run))
    style = few.styles["thornwick"]
    assert few.claims == 0
    assert style.faults["cracks"].model is None
    assert "more makes" in style.faults["cracks"].needs


def test_the_document_is_plain_json_with_a_sentence_for_every_answer(run: Simulated, link: Study) -> None:
    lives, exposures = known.lives(run, "linked", DAYS), known.exposures(run)
    at_ms = round(when(run.scenario, DAYS * DAY_S).timestamp() * 1000)
    document = evidence_document(known.site(), Studied(at_ms, lives, exposures, link))
    assert json.loads(json.dumps(document, allow_nan=False)) == document
    assert all(answer["sentence"].endswith(".") for answer in document["styles"][0]["answers"])
    assert document["styles"][0]["wheels"] == 100


def test_makes_that_differ_more_than_luck_spread_more() -> None:
    """Ten makes of ten at 30 %, all alike; then ten of which three have it all."""
    makes = np.repeat(np.arange(10), 10).astype(object)
    chance = np.full(100, 0.3)
    alike = np.tile(np.array([1.0] * 3 + [0.0] * 7), 10)
    apart = np.repeat(np.array([1.0] * 3 + [0.0] * 7), 10)
    assert reach_of(alike, chance, makes) < 1.2 < 2.4 < reach_of(apart, chance, makes)
