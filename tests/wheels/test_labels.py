"""Labels: one a wheel, opening its review; names are text and never markup."""

from __future__ import annotations

import pytest

from monitor.errors import LedgerError
from monitor.wheels.labels import label_sheet, review_link
from tests.wheels.samples import MADE, make_ledger


def test_a_label_names_the_wheel_and_carries_a_code(tmp_path) -> None:
    with make_ledger(tmp_path) as ledger:
        sheet = label_sheet(ledger.wheels(), {"clothed": "Clothed"}, "http://127.0.0.1:8501")
    assert sheet.count("<svg") == 3
    assert "HF-01" in sheet


def test_a_hostile_name_is_only_text(tmp_path) -> None:
    name = '<script>alert("1")</script>'
    with make_ledger(tmp_path) as ledger:
        ledger.add_make("X", "clothed", MADE, [name, "N" * 300], author="Nora")
        sheet = label_sheet(ledger.wheels(make="X"), {}, "http://127.0.0.1:8501")
    assert "<script" not in sheet


def test_the_link_opens_the_wheels_page() -> None:
    assert (
        review_link("http://127.0.0.1:8501/", "HF 01/ü")
        == "http://127.0.0.1:8501/wheel?wheel=HF%2001%2F%C3%BC"
    )
    with pytest.raises(LedgerError, match="no address of the pages"):
        review_link("javascript:alert(1)", "HF-01")
