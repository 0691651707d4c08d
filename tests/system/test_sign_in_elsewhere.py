"""Signing in at an OpenID Connect provider, in a real browser: who is known comes in, who is not is told so."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.launch import command
from dashboard.people import keep_person
from tests.system.browser import chromium, page_of, ready, served
from tests.system.parts import free_port
from tests.system.provider import CLIENT, SECRET, running_provider
from tests.system.test_pages import ROOT, SITE

pytestmark = pytest.mark.system


def secrets_of(port: int, issuer: str) -> str:
    return (
        f'[auth]\nredirect_uri = "http://127.0.0.1:{port}/oauth2callback"\ncookie_secret = "{"a long random text " * 3}"\n'
        f'client_id = "{CLIENT}"\nclient_secret = "{SECRET}"\nserver_metadata_url = "{issuer}/.well-known/openid-configuration"\n'
    )


def test_people_of_a_provider(tmp_path: Path) -> None:
    """Imelda, named by her address of mail, comes in and writes under her name; a stranger whom the provider knows as
    well gets no room to see but clear words and the way out; so does she with an address that was never verified."""
    site, port = tmp_path / "site.toml", free_port()
    site.write_text(SITE.read_text(encoding="utf-8") + '\n[pages]\nsign_in = "oidc"\n', encoding="utf-8")
    keep_person(tmp_path / "people.toml", "Imelda", "record", None, "imelda@dairy.invalid")
    more = {
        "MATURING_ANSWERS": "tests.dashboard.samples",
        "MATURING_SAMPLE": "alarmed",
        "PYTHONPATH": str(ROOT),
    }
    with running_provider() as provider, chromium() as browser:
        (tmp_path / "secrets.toml").write_text(secrets_of(port, provider.issuer), encoding="utf-8")
        with served(command(site, port), port, more) as address:
            with page_of(browser) as page:
                page.goto(address)
                page.get_by_role("button", name="Sign in").wait_for()
                assert "Wash room" not in page.content()
                provider.person = {"email": "imelda@dairy.invalid", "email_verified": True, "name": "I."}
                page.get_by_role("button", name="Sign in").click()
                page.get_by_text("Signed in as Imelda").wait_for()
                page.get_by_role("heading", name="Wash room").wait_for()
                assert page.get_by_role("link", name="Set-up").count() == 0
                page.goto(f"{address}/wheel?wheel=K-114")
                ready(page)
                page.get_by_role("radio", name="Weighing").click()
                page.get_by_label("Mass, kg").fill("22.70")
                page.get_by_role("button", name="Save weighing").click()
                page.get_by_text("Saved:").wait_for()
                page.get_by_text("Weighing by Imelda").wait_for()
            for stranger in (
                {"email": "someone@else.invalid", "email_verified": True},
                {"email": "imelda@dairy.invalid", "email_verified": False},
            ):
                with page_of(browser) as page:
                    provider.person = stranger
                    page.goto(address)
                    page.get_by_role("button", name="Sign in").click()
                    page.get_by_text("is not among the people of these pages").wait_for()
                    page.get_by_role("button", name="Sign out").wait_for()
                    assert page.get_by_text("Wash room").count() == 0
    assert provider.asked.count("token") == 3
