"""Private servers for tests: each starts on a free port, or the test is skipped with the reason. None is shared."""

import os

import pytest

# Before NumPy is loaded: learning weights with several threads takes many times longer where others use the machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

pytest_plugins = [
    "tests.servers.databases",
    "tests.servers.redis",
    "tests.servers.dovecot",
    "tests.servers.smtp",
    "tests.servers.chromium",
]


@pytest.fixture(autouse=True)
def _no_settings_from_outside(monkeypatch: pytest.MonkeyPatch) -> None:
    """A test never touches an installation that the developer's shell happens to point at."""
    for name in list(os.environ):
        if name.startswith("REPLACEMENTS_"):
            monkeypatch.delenv(name)
