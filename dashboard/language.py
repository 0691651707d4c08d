"""What the pages say, in the reader's language: one file of words each in ``languages/``, read when first asked for.

English is written in the code and is what a word falls back to.  A language is one gettext file, ``xx.po``.
"""

from __future__ import annotations

import gettext
import io
import logging
from contextvars import ContextVar
from datetime import date, datetime
from functools import cache
from pathlib import Path
from typing import Any

import streamlit as st
from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from streamlit.runtime.scriptrunner import get_script_run_ctx

log = logging.getLogger(__name__)
FOLDER = Path(__file__).with_name("languages")
ENGLISH = "en"
CHOSEN = "language-chosen"
COOKIE = "maturing_language"
"""Where a session, and the reader's browser, keep the language chosen."""


@cache
def languages() -> dict[str, str]:
    """The languages there are, by code, each by its own name: ``{"en": "English", "de": "Deutsch"}``."""
    codes = [ENGLISH, *sorted(path.stem for path in FOLDER.glob("*.po"))]
    return {code: str(Locale.parse(code).display_name).capitalize() for code in codes}


@cache
def words_of(code: str) -> gettext.NullTranslations:
    """The words of a language; English where it has no file, or one that cannot be read."""
    path = FOLDER / f"{code}.po"
    if code == ENGLISH or code not in languages():
        return gettext.NullTranslations()
    try:
        with path.open("rb") as file:
            catalogue = read_po(file, locale=code)
        compiled = io.BytesIO()
        write_mo(compiled, catalogue)
        compiled.seek(0)
        return gettext.GNUTranslations(compiled)  # type: ignore[arg-type]
    except Exception:
        log.exception("the words of %s cannot be read", path.name)
        return gettext.NullTranslations()


def choose(otherwise: str) -> None:
    """Let the page being drawn speak the language its reader once chose, else another."""
    code = st.context.cookies.get(COOKIE, otherwise)
    st.session_state[CHOSEN] = code if code in languages() else ENGLISH


SPOKEN: ContextVar[str] = ContextVar("spoken", default=ENGLISH)
"""The language outside of any page, as for the sign-in form."""


def current() -> str:
    """The code of the language of the page that is being drawn; outside of any page that of `SPOKEN`."""
    context = get_script_run_ctx(suppress_warning=True)
    if context is None or CHOSEN not in context.session_state:
        return SPOKEN.get()
    return str(context.session_state[CHOSEN])


def say(words: str, /, **values: Any) -> str:
    """English words in the reader's language, with values put in for the names in braces."""
    said = words_of(current()).gettext(words)
    return said.format(**values) if values else said


def say_count(one: str, many: str, count: int, /, **values: Any) -> str:
    """As `say`, in the form that fits a count, which is put in for ``{count}``."""
    return words_of(current()).ngettext(one, many, count).format(count=count, **values)


def decimal_point() -> str:
    """The sign that parts whole from tenths."""
    return _decimal_point(current())


@cache
def _decimal_point(code: str) -> str:
    return str(Locale.parse(code).number_symbols["latn"]["decimal"])


def weekday(at: date | datetime) -> str:
    """The day of the week of a local date, in full."""
    return str(format_date(at, "EEEE", locale=_locale(current())))


def written(at: date | datetime, skeleton: str) -> str:
    """A local date or time as the language writes it; ``skeleton`` names its fields as CLDR does, e.g. ``MMMd``."""
    return str(format_skeleton(skeleton, at, locale=_locale(current())))


@cache
def _locale(code: str) -> str:
    return "en_GB" if code == ENGLISH else code
