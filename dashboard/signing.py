"""How people sign in at these pages, and who the reader of a page is: a name, a role, and whether that still holds."""

from __future__ import annotations

import time
import tomllib
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from typing import Any, Literal

import streamlit as st

from dashboard.language import say
from dashboard.people import ROLES, Person, check_password, people_path, read_people
from dashboard.sessions import Sessions
from monitor.errors import SignInError
from monitor.site import Site

Mode = Literal["nobody", "people", "oidc"]
COOKIE = "maturing_pages"
SECRETS = "secrets.toml"
"""The file beside the site file in which Streamlit finds its ``[auth]`` table."""


@dataclass(frozen=True)
class Reader:
    """Who reads a page.  ``name`` is empty where nobody signs in and each entry asks for a name."""

    name: str
    role: str
    ended: bool = False

    def may(self, role: str) -> bool:
        """Whether the reader may do what a role covers."""
        return ROLES.index(self.role) >= ROLES.index(role)

    def author(self, typed: str, role: str) -> str:
        """The name to write beside an entry that needs a role: the one signed in, else the one typed.

        Raises
        ------
        SignInError
            The sign-in has ended, the role does not cover it, or nobody is named.
        """
        if self.ended:
            raise SignInError(
                say("Your sign-in has ended. Sign in again above; what you typed still stands.")
            )
        if not self.may(role):
            raise SignInError(say("Your role is to {role}; this needs another.", role=say(self.role)))
        name = (self.name or typed).strip()
        if not name:
            raise SignInError(say("Write your name first: every entry has its author."))
        return name


def is_loopback(address: str | None) -> bool:
    """Whether an address is of this machine alone."""
    try:
        return address == "localhost" or ip_address(address or "").is_loopback
    except ValueError:
        return False


def mode_of(site: Site, address: str | None) -> Mode:
    """How people sign in at a site's pages served at ``address``.

    Raises
    ------
    SignInError
        Others can reach the pages and nobody would sign in, or nobody could.
    """
    wanted = site.pages.sign_in
    if wanted in ("auto", "nobody") and is_loopback(address):
        return "nobody"
    if wanted == "oidc" or (wanted == "auto" and has_oidc(site)):
        _need(has_oidc(site), f"sign_in is oidc, but {SECRETS} beside the site file has no [auth] table")
        return "oidc"
    if wanted == "nobody":
        raise SignInError(
            f"The pages are not served at {address or 'every address'} while nobody signs in: set sign_in under [pages] to people or oidc."
        )
    who = [p for p in read_people(people_path(site)).values() if p.password_hash]
    _need(
        bool(who),
        f"The pages are not served at {address or 'every address'} while nobody can sign in. Add a person: "
        f'python -m dashboard.people {site.path} "NAME" --role "set up"; or serve at 127.0.0.1.',
    )
    return "people"


def _need(true: bool, otherwise: str) -> None:
    if not true:
        raise SignInError(otherwise)


def has_oidc(site: Site) -> bool:
    """Whether the secrets beside the site file say where people sign in."""
    return "auth" in _secrets(site.path.resolve().parent / SECRETS)


def _secrets(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SignInError(f"{path.name} cannot be read: {error}") from None


class Door:
    """Lets people in: the mode, the sign-ins of this server, and the people file, read anew when it changes."""

    def __init__(self, site: Site, mode: Mode) -> None:
        self.site, self.mode = site, mode
        self.sessions = Sessions(site.pages.idle_hours * 3600, site.pages.longest_hours * 3600)
        self._path, self._read_at, self._people = people_path(site), -1.0, dict[str, Person]()

    def people(self) -> dict[str, Person]:
        """The people as the file says now."""
        changed = self._path.stat().st_mtime if self._path.exists() else 0.0
        if changed != self._read_at:
            self._people, self._read_at = read_people(self._path), changed
        return self._people

    def try_password(self, name: str, password: str, address: str, token: str | None = None) -> str:
        """Sign a person in by password; the token of the sign-in.

        Raises
        ------
        SignInError
            The name or password is wrong, or wrong ones came too fast.
        """
        who = [f"name {name.strip().casefold()}", *([] if is_loopback(address) else [f"address {address}"])]
        with self.sessions.one_try:
            wait_s = self.sessions.wait_s(*who)
            if wait_s > 0:
                raise SignInError(
                    say("Too many wrong tries: wait {seconds} s, then try again.", seconds=f"{wait_s:.0f}")
                )
            person = check_password(self.people(), name, password)
            self.sessions.tried(person is not None, *who)
        if person is None:
            raise SignInError(say("That name and password do not fit."))
        return self.sessions.begin(person, token)

    def reader(self) -> Reader | None:
        """Who reads the page being drawn; None where nobody has signed in."""
        if self.mode == "nobody":
            return Reader("", ROLES[-1])
        return self._by_password() if self.mode == "people" else self._by_oidc()

    def _by_password(self) -> Reader | None:
        person = self._still_there(self.sessions.who(token_of_page()))
        before: Reader | None = st.session_state.get("reader")
        if person is None:
            return None if before is None else Reader(before.name, before.role, ended=True)
        st.session_state["reader"] = Reader(person.name, person.role)
        return Reader(person.name, person.role)

    def _still_there(self, person: Person | None) -> Person | None:
        """The person as the file has them now: a role that was changed counts at once."""
        return self.people().get(person.name.casefold()) if person else None

    def _by_oidc(self) -> Reader | None:
        user: Any = st.user
        if not user.is_logged_in:
            return None
        email = str(user.get("email", "")).strip().casefold()
        person = next((p for p in self.people().values() if p.email and p.email == email), None)
        if person is None or user.get("email_verified") is False:
            raise SignInError(
                say(
                    "{email} is not among the people of these pages. Whoever runs them can add you.",
                    email=email or "?",
                )
            )
        old = time.time() - float(user.get("iat") or 0) > self.site.pages.longest_hours * 3600
        return Reader(person.name, person.role, ended=old)


def token_of_page() -> str | None:
    """The token that the reader's browser sent when it opened the page."""
    return st.context.cookies.get(COOKIE)


_doors: dict[str, Door] = {}


def door_of(site: Site, address: str | None) -> Door:
    """The door of a site's pages, made once a process."""
    key = str(site.path.resolve())
    if key not in _doors:
        _doors[key] = Door(site, mode_of(site, address))
    return _doors[key]
