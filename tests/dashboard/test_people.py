"""People, their passwords, and sign-ins that end."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from dashboard.people import Person, check_password, keep_person, main, read_people
from dashboard.sessions import FREE_TRIES, LONGEST_WAIT_S, Sessions
from dashboard.signing import Reader
from monitor.errors import SignInError

IMELDA = Person("Imelda", "record")


class Clock:
    """A clock that the test turns."""

    def __init__(self) -> None:
        self.s = 1000.0

    def __call__(self) -> float:
        return self.s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def sessions(clock: Clock) -> Sessions:
    return Sessions(idle_s=3600, longest_s=10_000, clock=clock)


def test_a_password_is_kept_as_a_hash_that_only_its_owner_reads(tmp_path: Path) -> None:
    """The file holds an argon2 hash, no password, and is readable by its owner alone; comments stay."""
    path = tmp_path / "people.toml"
    keep_person(path, "Imelda", "record", "rind and patience")
    path.write_text("# ours\n" + path.read_text())
    keep_person(path, "Tadhg", "look", "salt and cellar")
    text = path.read_text()
    assert "rind and patience" not in text
    assert text.count("$argon2id$") == 2
    assert text.startswith("# ours")
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_a_right_name_and_password_fit_and_wrong_ones_do_not(tmp_path: Path) -> None:
    """Names are told apart whatever their capitals; a wrong password, an unknown name and an empty hash are refused."""
    path = tmp_path / "people.toml"
    keep_person(path, "Imelda", "record", "rind and patience")
    keep_person(path, "Guest", "look", None, "guest@dairy.invalid")
    people = read_people(path)
    found = check_password(people, " imelda ", "rind and patience")
    assert found is not None
    assert found.role == "record"
    assert check_password(people, "Imelda", "rind") is None
    assert check_password(people, "Nora", "rind and patience") is None
    assert check_password(people, "Guest", "nobody has this password") is None


def test_a_new_password_takes_the_place_of_the_old(tmp_path: Path) -> None:
    """Adding a person again changes the password and the role, and adds nobody."""
    path = tmp_path / "people.toml"
    keep_person(path, "Imelda", "look", "rind and patience")
    keep_person(path, "IMELDA", "set up", "cloth and lard 14")
    people = read_people(path)
    assert len(people) == 1
    assert check_password(people, "Imelda", "rind and patience") is None
    assert check_password(people, "Imelda", "cloth and lard 14") is not None


@pytest.mark.parametrize(
    "text", ["person = 3", "[[person]]\nrole = 'look'", "[[person]]\nname='A'\nrole='king'", "not toml", "[[person]]\nname='A'\n[[person]]\nname='a'"]
)  # fmt: skip
def test_a_people_file_with_faults_lets_nobody_in(tmp_path: Path, text: str) -> None:
    """A file that cannot be understood is refused whole."""
    path = tmp_path / "people.toml"
    path.write_text(text)
    with pytest.raises(SignInError):
        read_people(path)


def test_the_command_asks_twice(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two different passwords, or one too short, write nothing; two alike add the person."""
    site = tmp_path / "site.toml"
    site.write_text(Path(__file__).with_name("sample_site.toml").read_text())
    answers = iter(["rind and patience", "rind and patients"])
    assert main([str(site), "Imelda"], lambda _: next(answers)) == 1
    assert main([str(site), "Imelda"], lambda _: "short") == 1
    assert not (tmp_path / "people.toml").exists()
    assert main([str(site), "Imelda", "--role", "set up"], lambda _: "rind and patience") == 0
    assert "may set up" in capsys.readouterr().out


def test_a_sign_in_ends_when_unused_and_in_any_case(sessions: Sessions, clock: Clock) -> None:
    """Use keeps it alive past its hour, but not past its longest time; an ended one is told from none."""
    token = sessions.begin(IMELDA)
    for _ in range(3):
        clock.s += 3000
        assert sessions.who(token) == IMELDA
    clock.s += 1001
    assert sessions.who(token) is None
    assert sessions.ended(token)
    assert not sessions.ended("made up")
    idle = sessions.begin(IMELDA)
    clock.s += 3601
    assert sessions.who(idle) is None


def test_an_ended_sign_in_is_renewed_under_its_token(sessions: Sessions, clock: Clock) -> None:
    """Signing in again from an open page keeps the browser's token, so that nothing typed is lost."""
    token = sessions.begin(IMELDA)
    clock.s += 3601
    assert sessions.begin(IMELDA, token) == token
    assert sessions.who(token) == IMELDA
    sessions.end(token)
    assert sessions.who(token) is None


def test_wrong_tries_wait_longer_each_time(sessions: Sessions, clock: Clock) -> None:
    """Three are free; then the pause doubles up to a quarter of an hour; a right one clears it; others do not wait."""
    for _ in range(FREE_TRIES - 1):
        sessions.tried(False, "name imelda")
        assert sessions.wait_s("name imelda") == 0
    pauses = []
    for _ in range(12):
        sessions.tried(False, "name imelda")
        pauses.append(sessions.wait_s("name imelda"))
        clock.s += pauses[-1]
    assert pauses[:4] == [2, 4, 8, 16]
    assert pauses[-1] == LONGEST_WAIT_S
    assert sessions.wait_s("name tadhg") == 0
    sessions.tried(True, "name imelda")
    assert sessions.wait_s("name imelda") == 0


def test_each_role_may_what_those_before_it_may() -> None:
    """Looking does not record, recording does not set up; an ended sign-in writes nothing; the name is the signed one."""
    assert not Reader("Nora", "look").may("record")
    assert Reader("Nora", "set up").may("record")
    assert Reader("Nora", "record").author("somebody else", "record") == "Nora"
    assert Reader("", "set up").author(" Tadhg ", "record") == "Tadhg"
    for reader, role in (
        (Reader("Nora", "look"), "record"),
        (Reader("Nora", "record"), "set up"),
        (Reader("Nora", "set up", True), "look"),
    ):
        with pytest.raises(SignInError):
            reader.author("Nora", role)
