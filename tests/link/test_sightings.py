"""When a fault counts as found, from looks that miss and imagine."""

from __future__ import annotations

import pytest

from monitor.link.sightings import looks_for, sight_of
from monitor.wheels import Entry


def entry(at_ms: int, kind: str, **details: object) -> Entry:
    return Entry(at_ms, kind, at_ms, at_ms, "Nora", "W-1", "M", dict(details))


def test_a_fault_was_found_between_the_last_clear_look_and_the_look_that_saw_it() -> None:
    """Clear at 10, seen at step 2 at 20: it came in between, and nobody can say when."""
    sight = sight_of([(10, 0), (20, 2), (30, 2)])
    assert (sight.clear_ms, sight.found_ms, sight.known_ms) == (10, 20, 20)


def test_one_faint_sighting_that_two_looks_do_not_see_again_is_a_mistake() -> None:
    sight = sight_of([(10, 0), (20, 1), (30, 0), (40, 0)])
    assert sight.found_ms is None
    assert sight.clear_ms == 40


def test_a_faint_sighting_seen_again_counts_from_the_first_and_is_known_from_the_second() -> None:
    """A look between that missed it does not unmake it."""
    sight = sight_of([(10, 0), (20, 1), (30, 0), (40, 1)])
    assert (sight.found_ms, sight.known_ms) == (20, 40)
    assert not sight.known_by(39)
    assert sight.known_by(40)


def test_a_faint_sighting_with_no_look_after_it_leaves_the_wheel_open() -> None:
    sight = sight_of([(10, 0), (20, 1)])
    assert (sight.clear_ms, sight.found_ms) == (10, None)


def test_the_first_iron_is_a_look_under_the_cloth_and_a_scale_left_out_is_no_look() -> None:
    """Blue on the plug of a second hole may have come in by the first, so it tells nothing of the cloth."""
    entries = [
        entry(10, "inspection", cracks=1),
        entry(20, "ironing", blue_at_plug=2),
        entry(30, "ironing", blue_at_plug=3),
    ]
    assert looks_for("blue_under_cloth", entries) == [(20, 2)]
    assert looks_for("blue_at_plug", entries) == [(20, 2), (30, 3)]


@pytest.mark.parametrize("looks", [[], [(10, 0)]])
def test_nothing_seen_is_nothing_found(looks: list[tuple[int, int]]) -> None:
    assert sight_of(looks).found_ms is None
