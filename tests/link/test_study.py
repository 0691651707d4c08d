"""The link on a small simulated dairy, whose truth is known; fifty large ones: tests.system.link_on_simulated_sites."""

from __future__ import annotations

import json

import numpy as np
import pytest

from monitor.link.document import evidence_document
from monitor.link.features import courses_of
from monitor.link.kept import Studied
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
