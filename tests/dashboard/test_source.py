"""Documents asked once for all pages, and what a page gets when the answer fails."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from dashboard.source import Source
from monitor.errors import SignInError, StoreAway, UnknownWheel
from monitor.site import Site, load
from tests.dashboard import samples


class Answers:
    """Sample answers that count questions and can be made to fail."""

    def __init__(self) -> None:
        self.asked, self.fault = 0, None
        self.held = samples.SampleParts()

    def rooms_document(self, site: Site) -> dict[str, Any]:
        self.asked += 1
        if self.fault:
            raise self.fault
        return samples.rooms("normal")

    alarms_document = wheels_document = rooms_document

    def review_document(self, site: Site, wheel: str) -> dict[str, Any]:
        raise UnknownWheel(f"no wheel is called {wheel!r}")

    def parts(self, site: Site) -> samples.SampleParts:
        return self.held


@pytest.fixture
def answers() -> Answers:
    return Answers()


@pytest.fixture
def source(answers: Answers) -> Source:
    return Source(load(Path(__file__).with_name("sample_site.toml")), answers)


def test_ten_pages_ask_once(source: Source, answers: Answers) -> None:
    """Ten pages that refresh at the same moment cost one question."""
    for _ in range(10):
        source.rooms()
    assert answers.asked == 1


def test_ten_pages_are_drawn_once(source: Source) -> None:
    """Ten pages that show one document cost one drawing in each language; a new document is drawn anew."""
    drawn: list[str] = []

    def draw() -> list[str]:
        drawn.append("panels")
        return ["panels"]

    for language in ("en", "de", "en", "de"):
        assert source.drawn(source.rooms(), language, draw) == ["panels"]
    assert len(drawn) == 2
    source.forget()
    source.drawn(source.rooms(), "en", draw)
    assert len(drawn) == 3


def test_a_failing_answer_keeps_what_was_true_and_says_why(source: Source, answers: Answers) -> None:
    """When the store goes away the last document stays, with the reason beside it."""
    source.rooms()
    source.forget()
    answers.fault = StoreAway("the disk is gone")
    answer = source.rooms()
    assert answer.document is not None
    assert answer.fault == "the disk is gone"


def test_a_first_failure_has_no_document(source: Source, answers: Answers) -> None:
    """Where nothing was ever read, nothing is made up; an error nobody planned for is named, not shown whole."""
    answers.fault = ValueError("secret inside")
    answer = source.rooms()
    assert answer.document is None
    assert "ValueError" in answer.fault
    assert "secret" not in answer.fault


def test_an_unknown_wheel_is_told_from_a_failure(source: Source) -> None:
    """A link to a wheel that does not exist is the reader's mistake, not the store's."""
    assert source.review("K-999").unknown


def test_every_entry_has_an_author(source: Source, answers: Answers) -> None:
    """Without a name nothing is acknowledged and nothing is written."""
    with pytest.raises(SignInError, match="your name"):
        source.acknowledge(17, "  ", "")
    with pytest.raises(SignInError, match="your name"):
        source.enter("weighing", "K-114", "", {"mass_kg": 22.9})
    assert answers.held.ledger.entries == []
    assert answers.held.alarms.acknowledged == {}
