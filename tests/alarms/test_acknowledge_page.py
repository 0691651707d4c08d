"""The link in a message: signed, expiring, good for one purpose; fetching it acknowledges nothing, its button does."""

from __future__ import annotations

import re
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.alarms import Alarms
from monitor.alarms.acknowledge_page import AcknowledgePage
from monitor.alarms.channels import Key, Recipient
from monitor.alarms.lifecycle import State
from monitor.alarms.sender import Sender
from monitor.alarms.tokens import Pass, make_token, read_token, secret_of
from monitor.alarms.words import Words
from monitor.errors import AlarmError
from monitor.site import AlarmSettings, Site
from monitor.site.alarm_settings import AcknowledgeLink
from tests.alarms.samples import MINUTE, START, dry, make_alarms, make_site
from tests.system.parts import free_port

SECRET = b"a secret of the test, long enough"


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Site:
    monkeypatch.setenv("MATURING_ACKNOWLEDGE_SECRET", SECRET.decode())
    monkeypatch.setenv("MATURING_ROUTE_PHONE", "json://nora.invalid")
    port = free_port()
    link = AcknowledgeLink(
        port=port, address=f"http://127.0.0.1:{port}", secret_env="MATURING_ACKNOWLEDGE_SECRET"
    )
    made = make_site(tmp_path)
    route = made.routes[0].model_copy(update={"person": "Nora"})
    settings = AlarmSettings(acknowledge=link, page="https://rooms.example")
    return made.model_copy(update={"alarms": settings, "routes": (route,)}).at(made.path)


@pytest.fixture
def alarms(site: Site, tmp_path: Path) -> Iterator[Alarms]:
    opened = make_alarms(tmp_path)
    yield opened
    opened.close()


@pytest.fixture
def page(site: Site, alarms: Alarms) -> Iterator[AcknowledgePage]:
    served = AcknowledgePage(site, alarms)
    served.start()
    yield served
    served.stop()


def link_in_message(site: Site, alarms: Alarms) -> str:
    """The link of the message about what stands, as the phone got it."""
    got: list[Words] = []

    def take(recipient: Recipient, words: Words, key: Key, form: str) -> str:
        got.append(words)
        return ""

    Sender(site, alarms, take).send_waiting("phone")
    (words,) = got
    found = re.search(r"I have seen it: (\S+)", words.text)
    assert found is not None
    assert f'href="{found[1]}"' in words.html
    assert "https://rooms.example/alarms" in words.text
    return found[1]


def fetch(address: str, token: str | None = None) -> tuple[int, str, dict[str, str]]:
    data = None if token is None else urllib.parse.urlencode({"token": token}).encode()
    try:
        with urllib.request.urlopen(urllib.request.Request(address, data), timeout=10) as answer:
            return answer.status, answer.read().decode(), dict(answer.headers)
    except urllib.error.HTTPError as error:
        return error.code, error.read().decode(), dict(error.headers)


def test_fetching_the_link_changes_nothing_and_its_button_acknowledges(
    site: Site, alarms: Alarms, page: AcknowledgePage
) -> None:
    """A mail scanner may fetch the link at will; the button acknowledges as the route's person, once."""
    alarms.update([dry()], START)
    link = link_in_message(site, alarms)
    for _ in range(3):
        status, shown, headers = fetch(link)
        assert status == 200
        assert "Humidity 74.2 % at Low rack" in shown
        assert headers["Cache-Control"] == "no-store"
        assert headers["Referrer-Policy"] == "no-referrer"
    assert alarms.standing()[0].state is State.UNACKNOWLEDGED
    token = link.partition("token=")[2]
    status, shown, _ = fetch(link.partition("?")[0], token)
    assert status == 200
    assert "1 acknowledged as Nora" in shown
    assert alarms.standing()[0].acknowledged_by == "Nora"
    assert "Nothing left to acknowledge" in fetch(link.partition("?")[0], token)[1]


def test_what_a_person_reads_is_harmless(site: Site, alarms: Alarms, page: AcknowledgePage) -> None:
    """Words from outside are text on the page, never markup."""
    alarms.update([dry(what="<script>alert(1)</script>")], START)
    _, shown, _ = fetch(link_in_message(site, alarms))
    assert "<script>" not in shown
    assert "&lt;script&gt;" in shown


@pytest.mark.parametrize(
    ("token", "words"),
    [
        ("", "not made by this monitor"),
        ("nonsense", "not made by this monitor"),
        ("é.ü", "not made by this monitor"),
        ("a" * 1000, "not made by this monitor"),
        (make_token(SECRET, Pass(1, "phone", START)), "too old"),
        (make_token(b"another secret, long enough", Pass(1, "phone", 2**50)), "not made by this monitor"),
        (make_token(SECRET, Pass(1, "phone", 2**50))[:-2], "not made by this monitor"),
    ],
)
def test_a_forged_cut_or_old_link_is_refused_in_words(
    alarms: Alarms, page: AcknowledgePage, site: Site, token: str, words: str
) -> None:
    """It says what is wrong and where to acknowledge instead; nothing is acknowledged."""
    alarms.update([dry()], START)
    assert site.alarms.acknowledge is not None
    address = f"{site.alarms.acknowledge.address}/acknowledge"
    status, shown, _ = fetch(address, token)
    assert (status, words in shown, "page" in shown) == (403, True, True)
    assert alarms.standing()[0].state is State.UNACKNOWLEDGED


def test_what_is_no_request_of_the_page_is_refused(page: AcknowledgePage, site: Site) -> None:
    """Other paths and bodies too long get an answer, not a crash."""
    assert site.alarms.acknowledge is not None
    address = site.alarms.acknowledge.address
    assert fetch(f"{address}/etc/passwd")[0] == 404
    assert fetch(f"{address}/acknowledge", "x" * 10_000)[0] == 400


def test_a_token_says_what_it_was_made_for() -> None:
    """What is read back is what was made, until it expires."""
    made = Pass(17, "piets.mail-2", START + MINUTE)
    token = make_token(SECRET, made)
    assert read_token(SECRET, token, START) == made
    with pytest.raises(AlarmError, match="too old"):
        read_token(SECRET, token, START + MINUTE)


def test_without_its_secret_alarms_still_leave(
    site: Site, alarms: Alarms, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A missing or short secret is named; the message goes without a link rather than not at all."""
    monkeypatch.setenv("MATURING_ACKNOWLEDGE_SECRET", "short")
    with pytest.raises(AlarmError, match="MATURING_ACKNOWLEDGE_SECRET holds a secret of under 16"):
        secret_of(site)
    alarms.update([dry()], START)
    got: list[Words] = []
    Sender(site, alarms, lambda r, words, k, f: got.append(words) or "").send_waiting("phone")
    assert "(no link" in got[0].text


def test_a_port_that_is_taken_is_told_in_words(site: Site, alarms: Alarms, page: AcknowledgePage) -> None:
    """A second monitor on the same port is told so; it goes on without the page."""
    with pytest.raises(AlarmError, match=r"cannot listen on 127\.0\.0\.1"):
        AcknowledgePage(site, alarms)
