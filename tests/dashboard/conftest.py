"""Quick passwords: argon2 as ever, with less memory and one pass, so that tests do not wait for it."""

from __future__ import annotations

import pytest
from argon2 import PasswordHasher

from dashboard import people


@pytest.fixture(autouse=True)
def quick_passwords(monkeypatch: pytest.MonkeyPatch) -> None:
    quick = PasswordHasher(time_cost=1, memory_cost=1024, parallelism=1)
    monkeypatch.setattr(people, "_HASHER", quick)
    monkeypatch.setattr(people, "_NOBODY", quick.hash("nobody has this password"))
