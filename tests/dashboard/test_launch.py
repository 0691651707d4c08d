"""The command that serves the pages: on this machine alone unless people sign in, telling nobody."""

from __future__ import annotations

from pathlib import Path

import pytest

from dashboard.launch import command, environment
from dashboard.people import keep_person
from dashboard.signing import mode_of
from monitor.errors import SignInError
from monitor.site import load

SAMPLE = Path(__file__).with_name("sample_site.toml").read_text(encoding="utf-8")
OTHERS = ["0.0.0.0", "192.168.1.20", "::", "", "dairy.invalid"]


@pytest.fixture
def site(tmp_path: Path) -> Path:
    path = tmp_path / "site.toml"
    path.write_text(SAMPLE, encoding="utf-8")
    return path


def test_the_pages_stay_on_this_machine(site: Path) -> None:
    """Without an address the pages listen on loopback, and send no usage figures."""
    line = command(site, 8501)
    assert "--server.address=127.0.0.1" in line
    assert "--browser.gatherUsageStats=false" in line
    assert "--client.showErrorLinks=false" in line
    assert environment({})["STREAMLIT_BROWSER_GATHER_USAGE_STATS"] == "false"


@pytest.mark.parametrize("address", OTHERS)
def test_other_machines_are_not_let_in_without_signing_in(site: Path, address: str) -> None:
    """An address that others can reach is refused with the reason and what to do."""
    with pytest.raises(SignInError, match=r"dashboard\.people"):
        command(site, 8501, address)


@pytest.mark.parametrize("address", OTHERS)
def test_people_with_passwords_open_the_door(site: Path, address: str) -> None:
    """Once a person with a password is in the people file, the pages are served and ask for it."""
    keep_person(site.with_name("people.toml"), "Imelda", "set up", "rind and patience")
    assert mode_of(load(site), address) == "people"
    assert f"--server.address={address}" in command(site, 8501, address)


def test_people_without_passwords_do_not(site: Path) -> None:
    """A person known only by an address of mail cannot sign in here, so nobody can."""
    keep_person(site.with_name("people.toml"), "Imelda", "set up", None, "imelda@dairy.invalid")
    with pytest.raises(SignInError):
        command(site, 8501, "0.0.0.0")


def test_a_sign_in_elsewhere_opens_the_door(site: Path) -> None:
    """Secrets with an [auth] table beside the site file hand signing in to that provider."""
    site.with_name("secrets.toml").write_text(
        '[auth]\nredirect_uri = "https://rooms.invalid/oauth2callback"\n'
    )
    assert mode_of(load(site), "0.0.0.0") == "oidc"
    assert f"--secrets.files={site.with_name('secrets.toml')}" in command(site, 8501, "0.0.0.0")


def test_nobody_signs_in_only_where_nobody_else_can_come(site: Path) -> None:
    """Set to nobody, the pages stay on this machine; set to people, loopback asks too."""
    site.write_text(SAMPLE + '\n[pages]\nsign_in = "nobody"\n')
    with pytest.raises(SignInError, match="nobody signs in"):
        command(site, 8501, "0.0.0.0")
    keep_person(site.with_name("people.toml"), "Imelda", "look", "rind and patience")
    site.write_text(SAMPLE + '\n[pages]\nsign_in = "people"\n')
    assert mode_of(load(site), "127.0.0.1") == "people"
