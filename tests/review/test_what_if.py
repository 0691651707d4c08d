"""What if: weight, rind and readiness of wheels carried on in a supposed climate."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from monitor.cli import main
from monitor.errors import LedgerError, UnknownWheel
from monitor.review.rind_part import rind_of
from monitor.review.what_if import what_if
from monitor.rind.ripening import rate_factor
from monitor.site import check_text
from tests.test_site import GOOD
from tests.twins.samples import Rooms, breathe, day
from tests.wheels.samples import NOW


@pytest.fixture(scope="module")
def rooms(tmp_path_factory: pytest.TempPathFactory) -> Rooms:
    found = Rooms(tmp_path_factory.mktemp("what-if"))
    breathe(found.store, "low-rack", 0, 8.5, 12.5, 78)
    found.ledger.sell("HF-03", day(5), author="Nora")
    found.settle()
    return found


def asked(rooms: Rooms, names: list[str], **more: Any) -> dict[str, Any]:
    document = what_if(rooms.ledger.site, rooms.store, rooms.ledger, names, at=NOW, **{"days": 28, **more})
    json.dumps(document, allow_nan=False)
    return document


def scenario(document: dict[str, Any], name: str) -> dict[str, Any]:
    return next(s for s in document["scenarios"] if s["name"] == name)


def test_drier_costs_more_weight_and_pulls_the_rind_more(rooms: Rooms) -> None:
    """Four weeks at 78 % costs more than in the style's 84-88 %, and at 92 % least; cracking follows."""
    document = asked(rooms, ["HF-01"], held=(12.5, 92.0))
    dry, style, damp = (scenario(document, n) for n in ("as now", "as the style wants", "as set"))
    assert dry["lost_kg"]["value"] > style["lost_kg"]["value"] > damp["lost_kg"]["value"]
    assert dry["points"][-1]["cracking_index"] > damp["points"][-1]["cracking_index"]
    assert (dry["temperature_c"], dry["rh_pct"]) == (pytest.approx(12.5, abs=0.1), pytest.approx(78, abs=0.5))
    for told in (dry, style, damp):
        assert told["lost_kg"]["low"] < told["lost_kg"]["value"] < told["lost_kg"]["high"]
        masses = [point["mass_kg"] for point in told["points"]]
        assert masses == sorted(masses, reverse=True)
        assert masses[0] - masses[-1] == pytest.approx(told["lost_kg"]["value"], abs=0.0021)


def test_it_starts_where_the_twin_stands(rooms: Rooms) -> None:
    """The first point is the wheel now, and the twin that is kept is not moved by asking."""
    life = rooms.twins._lives["HF-01"]
    before = rind_of(rooms.ledger.site, rooms.store, life).now()
    first = scenario(asked(rooms, ["HF-01"]), "as now")["points"][0]
    assert first["mass_kg"] == pytest.approx(before.mass_kg, abs=1e-3)
    assert rind_of(rooms.ledger.site, rooms.store, life).now() == before


def test_steps_of_a_quarter_of_a_day_are_fine_enough(rooms: Rooms, monkeypatch: pytest.MonkeyPatch) -> None:
    """Steps of an hour tell the same loss within one percent."""
    coarse = scenario(asked(rooms, ["HF-01"], days=21), "as now")["lost_kg"]["value"]
    monkeypatch.setattr("monitor.review.what_if.STEP_S", 3600.0)
    assert scenario(asked(rooms, ["HF-01"], days=21), "as now")["lost_kg"]["value"] == pytest.approx(
        coarse, rel=0.01
    )


def test_ready_is_when_warmth_has_done_its_share(rooms: Rooms) -> None:
    """At a degree above the reference the wheel is ready sooner than by the calendar, by its rate factor."""
    text = GOOD.replace('rind = "cloth-bound"', 'rind = "cloth-bound"\ngrading_from_day = 120')
    site, _ = check_text(text, rooms.folder / "site.toml")
    assert site is not None
    document = what_if(site, rooms.store, rooms.ledger, ["HF-01"], held=(12.5, 86.0), at=NOW, days=7)
    style = site.style_by_id["clothed"]
    ready = scenario(document, "as set")["wheels"][0]["ready"]
    assert ready["early_at"] <= ready["at"] <= ready["late_at"]
    ages = np.arange(0, 3650.0)
    reference = np.array([style.stages[sum(a >= s.from_day for s in style.stages[1:])].reference_temperature_c for a in ages])  # fmt: skip
    by_hand = int(np.flatnonzero(np.cumsum(rate_factor(12.5, reference)) >= style.grading_from_day)[0]) + 1
    wait = (datetime.fromisoformat(ready["at"]) - NOW) / timedelta(days=1)
    assert wait == pytest.approx(by_hand - 8, abs=2)
    slow = scenario(document, "as the style wants")["wheels"][0]["ready"]
    assert slow["at"] > ready["at"]


def test_a_make_is_the_sum_of_its_wheels_and_says_who_is_left_out(rooms: Rooms) -> None:
    """Two wheels cost twice one; the sold one is left out with the reason."""
    both, one = asked(rooms, ["HF-01", "HF-02", "HF-03"]), asked(rooms, ["HF-01"])
    assert both["wheels"] == ["HF-01", "HF-02"]
    assert [left["wheel"] for left in both["left_out"]] == ["HF-03"]
    two, single = (scenario(d, "as now")["lost_kg"]["value"] for d in (both, one))
    assert two == pytest.approx(2 * single, rel=0.01)


def test_what_cannot_be_is_refused(rooms: Rooms) -> None:
    """No wheel, an unknown one, a day too few, and a climate that no room has."""
    for names, more, error in (
        ([], {}, LedgerError),
        (["HF-77"], {}, UnknownWheel),
        (["HF-01"], {"days": 2}, LedgerError),
        (["HF-01"], {"held": (10.0, 0.85)}, LedgerError),
    ):
        with pytest.raises(error):
            asked(rooms, names, **more)


def test_the_command_tells_it_in_words(rooms: Rooms, capsys: pytest.CaptureFixture[str]) -> None:
    """One sentence a climate, with the cost and its interval; temperature without humidity is wrong use."""
    path = Path(rooms.ledger.site.path)
    path.write_text(GOOD, encoding="utf-8")
    assert main(["what-if", str(path), "HF-01", "--days", "14"]) == 0
    assert "14 more days cost" in capsys.readouterr().out
    assert main(["what-if", str(path), "HF-01", "--temperature", "10"]) == 2


def test_a_room_is_asked_for_as_a_whole(rooms: Rooms, capsys: pytest.CaptureFixture[str]) -> None:
    """All that lies in the room, the sold wheel not among it; without days it is six months, 182."""
    path = Path(rooms.ledger.site.path)
    path.write_text(GOOD, encoding="utf-8")
    assert main(["what-if", str(path), "--room", "vault", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["wheels"] == ["HF-01", "HF-02"]
    assert document["days"] == 182
