"""A mail's subject and the title of a push: room and problem, as a lock screen shows them, within 70 characters."""

from __future__ import annotations

from email import message_from_bytes
from email.header import decode_header, make_header
from email.policy import default

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.alarms import open_alarms
from monitor.alarms.mail import mail_of
from monitor.alarms.words import LONGEST_TITLE, Context, Words, title_of, words_of
from monitor.rules.finding import Priority
from monitor.site import Site
from tests.alarms.samples import START, dry

DRY = "humidity 65.3 % at Middle rack, wanted 75-92 %; 24 wheels"


@pytest.mark.parametrize(
    ("call", "where", "problem", "more", "title"),
    [
        ("Now", "North adit", "freezing; -0.4 °C at Low rack", 0, "Now: North adit: freezing; -0.4 °C at Low rack"),
        ("Needs you", "North adit", DRY, 0, "Needs you: North adit: humidity 65.3 % at Middle rack, wanted 75-92 %"),
        ("Needs you", "North adit", DRY, 2, "Needs you: North adit: humidity 65.3 % at Middle rack; 2 more"),
        (
            "Not answered",
            "Second cellar behind the old dairy",
            DRY,
            1,
            "Not answered: Second cellar behind the…: humidity 65.3 % at…; 1 more",
        ),
        (
            "Now",
            "North adit",
            "STAY OUT of North adit: carbon dioxide 16,000 ppm",
            0,
            "Now: STAY OUT of North adit: carbon dioxide 16,000 ppm",
        ),
        (
            "Over",
            "North adit",
            "Wheels dry at 2.3 times the pace that Clothed hard wants at this age",
            0,
            "Over: North adit: Wheels dry at 2.3 times the pace that Clothed hard…",
        ),
    ],
)  # fmt: skip
def test_a_title_says_where_and_what_is_wrong(
    call: str, where: str, problem: str, more: int, title: str
) -> None:
    """Whole clauses where they fit, else words; the count of what is beside it stays; a room is named once."""
    assert title_of(call, where, problem, more) == title
    assert len(title) <= LONGEST_TITLE


@given(
    st.sampled_from(["Now", "Needs you", "When you can", "Not answered", "Not all is well"]),
    st.text(min_size=1, max_size=60),
    st.text(min_size=1, max_size=200),
    st.integers(0, 500),
)
def test_whatever_rooms_and_findings_are_called_a_title_is_one_line_that_fits(
    call: str, where: str, problem: str, more: int
) -> None:
    """Names are the site's own; nothing in them makes a title longer or breaks a mail's header."""
    title = title_of(call, where, problem, more)
    assert len(title) <= LONGEST_TITLE
    assert title.startswith(f"{call}: ")
    assert title.isprintable()
    assert title.endswith(f"; {more} more") == (more > 0) or problem.strip().endswith("more")


def test_of_several_the_worst_is_named_and_the_others_counted(site: Site) -> None:
    """Dry, and so cold that it freezes: the frost, and one more."""
    alarms = open_alarms(site)
    alarms.update([dry(), dry(Priority.CRITICAL, aspect="freezing", what="Air at -0.4 °C")], START)
    words = words_of(site, alarms.standing(), "raised", Context(START))
    assert words.title == "Now: North vault: Air at -0.4 °C; 1 more"
    alarms.close()


@pytest.mark.parametrize(
    "title",
    [
        "Not answered: Aldermoss rooms (invented): messages by route mail do…",
        "Now: Nördlicher Stollen hinter dem Haus: Wärme 14,2 °C am mittleren…",
        "Now: North adit: freezing; -0.4 °C at Low rack; 2 more",
        "Needs you: North adit: humidity 65.3 % at Middle rack, wanted 75-92 %",
    ],
)
def test_a_subject_arrives_as_it_was_written(title: str) -> None:
    """Folded and encoded on its way, with an ellipsis, umlauts or a degree sign: each character is there once."""
    mail = mail_of(
        Words(title, "line", "text"), "auto", "key", "thread", ("Monitor", "m@r.example"), ("", "n@h.example")
    )
    sent = mail.as_bytes(policy=mail.policy.clone(linesep="\r\n"))
    assert message_from_bytes(sent, policy=default)["Subject"] == title
    plain = message_from_bytes(sent)["Subject"].replace("\r\n", "")
    assert str(make_header(decode_header(plain))) == title


def test_many_rooms_are_the_first_and_a_count(site: Site) -> None:
    """Power is off in the vault and two more rooms: named as far as a lock screen has room for them."""
    alarms = open_alarms(site)
    rooms = ("vault", "wash cellar by the brook", "young room by the yard")
    silent = [
        dry(rule="silence", room=room, aspect="", sensor=f"s-{n}", style="") for n, room in enumerate(rooms)
    ]
    alarms.update(silent, START)
    words = words_of(site, alarms.standing(), "raised", Context(START))
    assert words.title == "Needs you: North vault and 2 more rooms: 3 sensors are silent"
    alarms.close()


def test_nobody_is_told_to_stay_out_of_a_room_where_gas_is_over(site: Site) -> None:
    """While it stands the order comes first; once it is over the subject must not be read as one."""
    alarms = open_alarms(site)
    gas = dry(Priority.CRITICAL, rule="gases", short="STAY OUT of North vault: carbon dioxide 40,000 ppm")
    alarms.update([gas], START)
    stands, over = (words_of(site, alarms.standing(), about, Context(START)) for about in ("raised", "over"))
    assert stands.title == "Now: STAY OUT of North vault: carbon dioxide 40,000 ppm"
    assert over.title == "Over: North vault: carbon dioxide 40,000 ppm"
    assert "STAY OUT" not in over.line + over.text
    alarms.close()


def test_what_is_in_no_room_leaves_the_site_out_where_it_does_not_fit(site: Site) -> None:
    """That messages do not get out is what must be read, not what the farm is called."""
    long = site.site.model_copy(update={"name": "The maturing rooms of Hollow Farm"})
    alarms = open_alarms(site)
    what = "Messages by route mail do not get out"
    alarms.update([dry(rule="monitor", room="", style="", aspect="route-mail", what=what)], START)
    title = words_of(site, alarms.standing(), "raised", Context(START)).title
    assert title == f"Needs you: Hollow Farm: {what}"
    named = words_of(site.model_copy(update={"site": long}), alarms.standing(), "escalated", Context(START))
    assert named.title == f"Not answered: {what}"
    alarms.close()
