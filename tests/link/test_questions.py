"""The questions: which are asked of a style, what parts its wheels, and when nothing can be answered yet."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np

from monitor.clock import DAY_MS, to_ms
from monitor.link.document import sentence
from monitor.link.exposure import Exposures
from monitor.link.features import Course, courses_of
from monitor.link.life import Life
from monitor.link.questions import QUESTIONS, Answer, answer, corrected, questions_for
from monitor.link.sightings import Sight
from monitor.site import Style
from tests.link import known

MADE = to_ms(datetime(2026, 1, 1, tzinfo=UTC))
DRY = QUESTIONS[0]


def style(**changes: object) -> Style:
    return known.site().style_by_id["thornwick"].model_copy(update=changes)


def courses(found: list[bool], makes: int) -> list[Course]:
    """Wheels looked at on day 100 and found then or not, dealt to so many makes in turn."""
    result = []
    for number, is_found in enumerate(found):
        at = MADE + 100 * DAY_MS
        life = Life(f"W-{number}", f"M-{number % makes}", "thornwick", MADE, at, (), ())
        sight = Sight(None, at, at) if is_found else Sight(at, None)
        result.append(Course(life, sight, ((at, 2 * is_found),)))
    return result


def test_a_style_is_asked_what_its_rind_can_answer_in_its_life() -> None:
    """Slip is for washed rinds; four months are not asked of a cheese that is graded on day 95."""
    assert {q.fault for q in questions_for(style())} == {"cracks", "blue_under_cloth", "mites"}
    short = questions_for(style(rind="natural", grading_from_day=95))
    assert [q.key for q in short] == ["dry when young"]
    assert "slip" in {q.fault for q in questions_for(style(rind="washed"))}


def test_too_few_wheels_are_told_what_is_missing() -> None:
    """Three dry wheels of one make answer nothing."""
    told = answer(DRY, style(), courses([True] * 3 + [False] * 20, 1), np.array([20.0] * 3 + [0.0] * 20))
    assert told.state == "not enough wheels yet"
    assert "10 wheels of 3 makes with more of it (now 3 of 1 make)" in told.needs
    assert sentence(told).startswith("Not enough wheels yet")


def test_a_plain_link_is_shown_in_the_dairy_s_own_numbers() -> None:
    """20 makes of three; wheels of every odd make were dry and 24 of those 30 cracked, 3 of the others."""
    number = np.arange(60)
    dry = number % 2 == 1
    found = np.where(dry, number < 48, number < 6)
    (told,) = corrected([answer(DRY, style(), courses(found.tolist(), 20), np.where(dry, 15.0, 2.0))])
    assert told.state == "shown"
    assert (
        sentence(told)
        == "Wheels that spent more than 10 days under 80 % in their first two months had cracks "
        f"8.0 times as often (between {told.contrast.ratio.low:.1f} and {told.contrast.ratio.high:.1f}): 24 of 30 against 3 of 30."  # type: ignore[union-attr]
    )


def test_a_link_the_other_way_round_is_never_claimed() -> None:
    """Dry wheels crack less here: whatever that is, it is not what was asked."""
    number = np.arange(60)
    dry = number % 2 == 1
    found = np.where(dry, number < 6, number < 48)
    (told,) = corrected([answer(DRY, style(), courses(found.tolist(), 20), np.where(dry, 15.0, 2.0))])
    assert told.state == "not shown"


def test_the_cut_moves_by_the_air_alone_when_it_leaves_a_side_empty() -> None:
    """Nobody was dry for ten days: wheels are parted at a round number near the upper third of their dry days."""
    days = np.linspace(0.0, 9.0, 60)
    told = answer(DRY, style(), courses([True] * 30 + [False] * 30, 12), days)
    other = answer(DRY, style(), courses([False] * 30 + [True] * 30, 12), days)
    assert told.words == other.words
    assert "more than 6 days under 80 %" in told.words


def test_the_more_is_asked_the_more_it_takes() -> None:
    """The same p stands alone, and falls among nine questions (Holm)."""
    number = np.arange(60)
    one = answer(DRY, style(), courses((number % 3 == 0).tolist(), 20), np.where(number % 2 == 1, 15.0, 2.0))
    sure = Answer(**{**one.__dict__, "p": 0.02})
    idle = Answer(**{**one.__dict__, "p": 0.9})
    assert corrected([sure])[0].p_adjusted == 0.02
    assert corrected([sure, *[idle] * 8])[0].p_adjusted == 0.18


def test_nobody_looked_nobody_is_counted() -> None:
    life = Life("W-1", "M-1", "thornwick", MADE, MADE + DAY_MS, (), ())
    assert courses_of("cracks", [life]) == []
    assert Exposures(known.site(), {}).between(life, "dry", MADE, MADE + DAY_MS).value is None
