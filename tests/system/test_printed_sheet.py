"""The printed sheet in a real browser: one page a wheel on A4 and on Letter, with nothing cut off that matters."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from monitor.review.sheet import review_sheet
from tests.review.test_sheet import ZONE, hostile_document
from tests.system.browser import chromium, page_of

pytestmark = pytest.mark.system


def test_one_page_a_wheel_on_either_paper(tmp_path: Path) -> None:
    """Two wheels with the longest texts print on two pages of A4 and of Letter, each with its room to write and its
    cautions whole, and the browser asks nobody for anything."""
    document = hostile_document(tmp_path)
    document["statement"] = [f"{n} " + "word " * 60 for n in range(20)]
    document["look_at"] = [{"where": "where " * 30, "why": "why " * 60}] * 9
    html = review_sheet([document, document], ZONE, address="http://127.0.0.1:8501")
    with chromium() as browser, page_of(browser) as page:
        page.set_content(html)
        for paper, size in (("A4", "595.9"), ("Letter", "612")):
            pdf = page.pdf(format=paper)
            assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2
            assert size.encode() in pdf
        page.emulate_media(media="print")
        bottoms = page.evaluate(
            "[...document.querySelectorAll('.sheet')].map(s => s.getBoundingClientRect().bottom"
            " - s.querySelector('.foot').getBoundingClientRect().bottom)"
        )
        assert all(left >= -1 for left in bottoms)
        assert page.outside == []
        assert page.evaluate("document.querySelectorAll('script, img').length") == 0
