"""Which weighed wheels of a style and room are learnt from."""

from __future__ import annotations

from datetime import UTC, datetime

from monitor.clock import DAY_MS, to_ms
from monitor.twins.learning import chosen
from monitor.wheels.life import Life

MADE = to_ms(datetime(2026, 1, 1, tzinfo=UTC))


def weighed_life(name: str, made_ms: int, weighings: int, first_day: int = 14) -> Life:
    """A wheel of 22 kg, weighed every fortnight from a day of its life on, 0.2 kg lighter each time."""
    weighed = tuple((made_ms + (first_day + 14 * n) * DAY_MS, 22.0 - 0.2 * n, None) for n in range(weighings))
    return Life(name, "M", "clothed", made_ms, 22.0, True, weighings=weighed)


def test_wheels_weighed_often_teach_first_and_of_those_the_latest() -> None:
    """Eight makes weighed seven times, the oldest one thirty times, the youngest twice: six are learnt from, oldest left out."""
    group = [weighed_life(f"W-{n}", MADE + 10 * n * DAY_MS, 7) for n in range(8)]
    group += [weighed_life("old", MADE - 300 * DAY_MS, 30), weighed_life("young", MADE + 90 * DAY_MS, 2)]
    assert [life.name for life in chosen(group)] == [f"W-{n}" for n in (7, 6, 5, 4, 3, 2)]


def test_few_wheels_are_all_learnt_from_and_the_day_of_making_is_no_weighing_that_teaches() -> None:
    """A wheel put on the scale only on its first day stands behind one weighed once later."""
    first_day, later = weighed_life("A", MADE, 1, first_day=0), weighed_life("B", MADE - DAY_MS, 1)
    assert [life.name for life in chosen([first_day, later])] == ["B", "A"]
