"""A twin kept and read back, taken apart and joined: nothing may change by it."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest

from monitor.errors import PhysicsError, StoreDamaged
from monitor.rind.presets import PRESETS
from monitor.rind.twin import Twin


def lived(days: float = 5.0) -> Twin:
    twin = Twin([PRESETS[k] for k in ("cloth-bound", "washed", "bare")], pressure_pa=95_000.0)
    for _ in range(round(days * 24)):
        twin.advance(3600.0, 12.0, [82.0, 93.0, np.nan], 0.2)
    return twin


def test_kept_and_read_back_it_carries_on_to_the_last_bit() -> None:
    """A restart between two air records is not to be seen in the numbers."""
    twin = lived()
    again = Twin.from_bytes(twin.to_bytes())
    for t in (twin, again):
        t.advance(600.0, 11.0, 88.0, 0.1)
    assert again.to_bytes() == twin.to_bytes()
    assert again.parameters == twin.parameters
    assert np.array_equal(again.mass_kg, twin.mass_kg)


def test_wheels_come_and_go() -> None:
    """Sold wheels are taken out and new ones join; those that stay do not notice."""
    twin = lived()
    kept = Twin.joined([twin.selected([0, 2]), Twin([PRESETS["natural"]], pressure_pa=95_000.0)])
    for t in (twin, kept):
        t.advance(3600.0, 12.0, 85.0)
    assert kept.wheels == 3
    assert np.array_equal(kept.mass_kg[:2], twin.mass_kg[[0, 2]])
    assert kept.state.elapsed_s[2] == 3600.0


def test_a_selection_shares_nothing() -> None:
    """What happens to it does not happen to the others."""
    twin = lived()
    before = twin.to_bytes()
    twin.selected([0]).advance(3600.0, 12.0, 60.0)
    assert twin.to_bytes() == before


def test_twins_cut_differently_cannot_be_joined() -> None:
    """Nor can none."""
    with pytest.raises(PhysicsError, match="joined"):
        Twin.joined([Twin([PRESETS["bare"]]), Twin([PRESETS["bare"]], shells=12)])
    with pytest.raises(PhysicsError, match="no twins"):
        Twin.joined([])


def spoilt(change: dict[str, object]) -> bytes:
    """A kept twin with some of its parts replaced."""
    with np.load(io.BytesIO(lived(0.1).to_bytes())) as archive:
        parts = {name: archive[name] for name in archive.files}
    header = json.loads(bytes(parts["header"]).decode())
    for name, value in change.items():
        if name in parts:
            parts[name] = value
        else:
            header[name] = value
    parts["header"] = np.frombuffer(json.dumps(header).encode(), dtype=np.uint8)
    stream = io.BytesIO()
    np.savez(stream, **parts)
    return stream.getvalue()


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not an archive",
        lived(0.1).to_bytes()[:-200],
        spoilt({"version": 99}),
        spoilt({"version": None}),
        spoilt({"parameters": [{"rind": "cloth-bound"}]}),
        spoilt({"parameters": []}),
        spoilt({"build": {"shells": "many"}}),
        spoilt({"moisture": np.full((24, 3), np.nan)}),
        spoilt({"moisture": np.full((24, 3), -0.1)}),
        spoilt({"moisture": np.full((12, 3), 0.5)}),
        spoilt({"film_kg": np.zeros(2)}),
        spoilt({"core_c": np.array(["warm", "warm", "warm"])}),
    ],
)
def test_damaged_or_foreign_bytes_are_refused_by_name(data: bytes) -> None:
    """Torn, newer, or with impossible numbers: it says to rebuild from the air records, and never unpickles."""
    with pytest.raises(StoreDamaged, match="rebuild"):
        Twin.from_bytes(data)


def test_pickled_content_is_refused() -> None:
    """An archive that would run code on reading is not read."""
    with pytest.raises(StoreDamaged, match="rebuild"):
        Twin.from_bytes(spoilt({"core_c": np.array([object()] * 3, dtype=object)}))


@pytest.mark.parametrize("wheels", [3, -4, [0, 7], "rack", [True, False]])
def test_a_wheel_that_is_not_there_is_refused(wheels: object) -> None:
    """Asking three wheels for a fourth names how many there are, in everything that takes a choice of wheels."""
    twin = lived(0.1)
    for ask in (twin.selected, twin.weighed, lambda chosen: twin.rewrap(chosen, 1e8)):
        with pytest.raises(PhysicsError, match="in a twin of 3: numbers from 0 to 2"):
            ask(wheels)
