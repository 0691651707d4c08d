"""What weighings say of a rind: whether a wheel loses more than a twin of its style in the same air."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from monitor.climate.doses import Span
from monitor.clock import DAY_MS, to_ms
from monitor.link.life import Life
from monitor.link.weighed import looseness_of
from monitor.wheels import Entry

MADE = to_ms(datetime(2026, 1, 1, tzinfo=UTC))
NOW = MADE + 100 * DAY_MS


def wheel(name: str, make: str, *weighed: tuple[int, float]) -> Life:
    """A wheel weighed on days of its life [kg]."""
    entries = tuple(
        Entry(day, "weighing", MADE + day * DAY_MS, NOW, "Nora", name, make, {"mass_kg": mass})
        for day, mass in weighed
    )
    return Life(name, make, "thornwick", MADE, NOW, (), entries)


def twin(life: Life, name: str, from_ms: int, to: int, known: float = 1.0) -> Span:
    """Every twin loses 5 g a day."""
    hours = (to - from_ms) / DAY_MS * 24
    return Span(0.005 * hours / 24 * known, hours * known, hours * (1 - known))


def test_a_wheel_that_loses_twice_what_its_twin_does_says_so() -> None:
    """19.0 kg on day 28 and 18.44 kg on day 84: 560 g, where the twin lost 280 g."""
    said = looseness_of([wheel("A", "M", (28, 19.0), (56, 18.7), (84, 18.44))], twin)
    assert said["A"] == pytest.approx(np.log(2.0))


def test_a_wheel_never_weighed_takes_its_makes_mean_and_other_makes_say_nothing() -> None:
    lives = [
        wheel("A", "M", (28, 19.0), (84, 18.44)),
        wheel("B", "M", (28, 19.0), (84, 18.72)),
        wheel("C", "M", (28, 19.0)),
        wheel("D", "other"),
    ]
    said = looseness_of(lives, twin)
    assert said["C"] == pytest.approx(0.5 * np.log(2.0))
    assert "D" not in said


def test_weighings_over_air_that_hardly_anybody_measured_say_nothing() -> None:
    """Four tenths of the days between known: too little to blame the rind."""
    lives = [wheel("A", "M", (28, 19.0), (84, 18.44))]
    assert looseness_of(lives, lambda *span: twin(*span, known=0.4)) == {}
    assert looseness_of(lives, lambda *span: twin(*span, known=0.6))["A"] == pytest.approx(np.log(2.0))


def test_a_slip_of_the_scale_is_no_rind() -> None:
    """A wheel that gained weight, or lost 10 kg, says no more than the bounds."""
    assert looseness_of([wheel("A", "M", (28, 19.0), (84, 19.1))], twin)["A"] == -1.0
    assert looseness_of([wheel("A", "M", (28, 19.0), (84, 9.0))], twin)["A"] == 2.0
