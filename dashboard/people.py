"""Who may use the pages, and for what: people with a role and an argon2 hash of their password, in a file of their own.

``python -m dashboard.people SITE.toml "NAME" --role record`` adds a person or gives a new password.
"""

from __future__ import annotations

import argparse
import getpass
import os
import re
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError
from tomlkit.exceptions import TOMLKitError

from monitor.errors import MonitorError, SignInError
from monitor.site import Site, load

ROLES = ("look", "record", "set up")
"""What a person may do; each role may also do what those before it may."""
SHORTEST_PASSWORD = 10
LONGEST_PASSWORD = 1000
_NAME = re.compile(r"[^\x00-\x1f\x7f]{1,100}")
_HASHER = PasswordHasher()
_NOBODY = _HASHER.hash("nobody has this password")


@dataclass(frozen=True)
class Person:
    """A person of the people file.  ``email`` is what a sign-in elsewhere knows them by."""

    name: str
    role: str
    password_hash: str = ""
    email: str = ""


def people_path(site: Site) -> Path:
    """Where a site's people file stands, or would stand."""
    return (site.path.parent / site.pages.people_file).resolve()


def read_people(path: Path) -> dict[str, Person]:
    """The people of a file by name, folded to small letters; none where there is no file.

    Raises
    ------
    SignInError
        The file cannot be read, or says something that is no person.
    """
    if not path.exists():
        return {}
    try:
        rows: Any = tomlkit.parse(path.read_text(encoding="utf-8")).unwrap().get("person", [])
        people = [_person(row) for row in rows]
    except (OSError, UnicodeDecodeError, TOMLKitError, TypeError, AttributeError) as error:
        raise SignInError(f"{path.name} cannot be read as a list of people: {error}") from None
    found = {person.name.casefold(): person for person in people}
    if len(found) < len(people):
        raise SignInError(f"{path.name}: two people have the same name")
    return found


def _person(row: dict[str, Any]) -> Person:
    name, role = str(row.get("name", "")).strip(), row.get("role", "look")
    if not _NAME.fullmatch(name):
        raise SignInError("a person needs a name of up to 100 characters")
    if role not in ROLES:
        raise SignInError(f"{name}: role {role!r} is none of {', '.join(ROLES)}")
    return Person(name, role, str(row.get("password_hash", "")), str(row.get("email", "")).strip().casefold())


def check_password(people: dict[str, Person], name: str, password: str) -> Person | None:
    """The person whose name and password these are; None for a wrong one, which takes as long to tell."""
    person = people.get(name.strip().casefold())
    try:
        _HASHER.verify((person.password_hash if person else "") or _NOBODY, password[:LONGEST_PASSWORD])
    except (Argon2Error, InvalidHashError):
        return None
    return person if person and person.password_hash else None


def keep_person(path: Path, name: str, role: str, password: str | None, email: str = "") -> None:
    """Add a person to a people file, or change one; comments and the other people stay.

    Raises
    ------
    SignInError
        The name, the role or the password will not do, or the file cannot be used.
    """
    if password is not None and not SHORTEST_PASSWORD <= len(password) <= LONGEST_PASSWORD:
        raise SignInError(f"a password needs at least {SHORTEST_PASSWORD} characters")
    person = _person({"name": name, "role": role})
    read_people(path)
    document = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else _new_file()
    rows = document.setdefault("person", tomlkit.aot())
    row = next((r for r in rows if str(r["name"]).casefold() == person.name.casefold()), None)
    if row is None:
        row = tomlkit.table()
        rows.append(row)
    row.update({"name": person.name, "role": role})
    if password is not None:
        row["password_hash"] = _HASHER.hash(password)
    if email:
        row["email"] = email.strip()
    _write_private(path, tomlkit.dumps(document))


def _new_file() -> tomlkit.TOMLDocument:
    document = tomlkit.document()
    document.add(tomlkit.comment("People who may use the pages. Passwords stand here only as argon2 hashes."))
    return document


def _write_private(path: Path, text: str) -> None:
    part = path.with_name(f".{path.name}.{os.getpid()}")
    with os.fdopen(
        os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8"
    ) as file:
        file.write(text)
    part.replace(path)


def main(arguments: list[str] | None = None, ask: Callable[[str], str] = getpass.getpass) -> int:
    """Add a person, with a password asked for at the prompt; 0 where that went well."""
    parser = argparse.ArgumentParser(
        prog="python -m dashboard.people", description="Let a person use the pages."
    )
    parser.add_argument("site", metavar="SITE.toml")
    parser.add_argument("name", metavar="NAME")
    parser.add_argument("--role", choices=ROLES, default="record", help="default: record")
    parser.add_argument(
        "--email", default="", help="what a sign-in elsewhere (OIDC) knows them by; no password then"
    )
    said = parser.parse_args(arguments)
    try:
        path = people_path(load(said.site))
        password = None if said.email else ask(f"Password for {said.name}: ")
        if password is not None and ask("Once more: ") != password:
            raise SignInError("the two passwords differ; nothing was written")
        keep_person(path, said.name, said.role, password, said.email)
    except MonitorError as error:
        print(error, file=sys.stderr)
        return 1
    print(f"{said.name} may {said.role}; written to {path}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
