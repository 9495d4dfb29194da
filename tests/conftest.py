"""Private servers for tests: each starts on a free port, or the test is skipped with the reason. None is shared."""

import os
from collections.abc import Iterator

import pytest
from argon2 import PasswordHasher

from replacements.people import passwords
from tests.servers.memory import keep_temporary_files_in_memory

keep_temporary_files_in_memory()

# Before NumPy is loaded: learning weights with several threads takes many times longer where others use the machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

pytest_plugins = [
    "tests.servers.databases",
    "tests.servers.redis",
    "tests.servers.dovecot",
    "tests.servers.pymap",
    "tests.servers.smtp",
    "tests.servers.chromium",
]


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test never touches an installation that the developer's shell happens to point at."""
    for name in list(os.environ):
        if name.startswith("REPLACEMENTS_"):
            monkeypatch.delenv(name)


@pytest.fixture(scope="session", autouse=True)
def _passwords_hashed_cheaply() -> Iterator[PasswordHasher]:
    """Hundreds of tests sign in: their passwords cost little to try. Gives the hasher that an office works with."""
    as_in_an_office = passwords._hasher
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(passwords, "_hasher", PasswordHasher(time_cost=1, memory_cost=64, parallelism=1))
        yield as_in_an_office


@pytest.fixture
def hashed_as_in_an_office(monkeypatch: pytest.MonkeyPatch, _passwords_hashed_cheaply: PasswordHasher) -> None:
    """Passwords are hashed as slowly as they are at work."""
    monkeypatch.setattr(passwords, "_hasher", _passwords_hashed_cheaply)
