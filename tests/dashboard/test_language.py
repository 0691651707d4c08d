"""The pages in another language: one file, whole, with the same gaps to fill, and English where there is none."""

from __future__ import annotations

import string
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from babel.messages.pofile import read_po

from dashboard import language
from dashboard.language import SPOKEN, languages, say, say_count, words_of
from dashboard.plain import age, number, when
from dashboard.words import all_words, template, untranslated

OTHERS = [code for code in languages() if code != "en"]
NOW = datetime(2026, 11, 3, 9, 30, tzinfo=UTC)


@pytest.fixture
def german() -> Iterator[None]:
    token = SPOKEN.set("de")
    yield
    SPOKEN.reset(token)


def gaps(words: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(words) if name is not None}


@pytest.mark.parametrize("code", OTHERS)
def test_a_language_is_whole(code: str) -> None:
    """Every word that pages say has its translation; a new sentence without one is found here."""
    assert len(all_words()) > 400
    assert untranslated(code) == []


@pytest.mark.parametrize("code", OTHERS)
def test_a_translation_has_the_same_gaps(code: str) -> None:
    """What is put into a sentence has a place in its translation, and nothing else has."""
    for message in read_po((language.FOLDER / f"{code}.po").open("rb"), locale=code):
        ids, said = ([m] if isinstance(m, str) else list(m) for m in (message.id, message.string))
        for one, other in zip(ids, said, strict=True):
            assert not one or gaps(one) == gaps(other), one


def test_german_counts_dates_and_numbers(german: None) -> None:
    """Plurals, months, the decimal comma and the site's own time zone."""
    assert say_count("{count} wheel", "{count} wheels", 1) == "1 Laib"
    assert say_count("{count} wheel", "{count} wheels", 64) == "64 Laibe"
    assert number(-11.84) == "−11,8"
    assert age(3 * 86400) == "vor 3 Tagen"
    assert when("2026-03-01T22:30:00Z", ZoneInfo("Europe/Berlin"), NOW) == "1. März 23:30"


def test_what_has_no_translation_stays_english(german: None) -> None:
    """A sentence of the monitor that no file has is shown as it is."""
    assert say("Sensor nv-1 is silent") == "Sensor nv-1 is silent"
    assert say("no such {thing}", thing="room") == "no such room"


def test_one_file_makes_a_language(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file put beside the others is a language; one that cannot be read leaves the pages English."""
    monkeypatch.setattr(language, "FOLDER", tmp_path)
    (tmp_path / "it.po").write_text(
        'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n\nmsgid "Wheel"\nmsgstr "Forma"\n'
    )
    (tmp_path / "fr.po").write_bytes(b"\xff\xfe no such file")
    languages.cache_clear()
    words_of.cache_clear()
    try:
        assert languages()["it"] == "Italiano"
        assert words_of("it").gettext("Wheel") == "Forma"
        assert words_of("fr").gettext("Wheel") == "Wheel"
        assert words_of("../../etc/passwd").gettext("Wheel") == "Wheel"
        assert template("it").get("Wheel").string == "Forma"
    finally:
        languages.cache_clear()
        words_of.cache_clear()
