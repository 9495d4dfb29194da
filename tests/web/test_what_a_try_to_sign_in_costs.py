"""Every try to sign in costs one check of a password, whoever's name is given: how long the answer takes tells nothing
about which names exist. What the real hasher works on is counted, and nothing is timed."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from argon2 import PasswordHasher, extract_parameters
from argon2.exceptions import VerifyMismatchError
from sqlalchemy import event, update

from replacements.people import passwords
from replacements.store.tables import Account, Factor
from tests.web.invented_office import NOW, PASSWORD, Site

WRONG = "seven herons in the reeds"


class CountedHasher(PasswordHasher):
    """The hasher that is in use, and what it was made to work out: each check with the hash's own costs."""

    def __init__(self, real: PasswordHasher) -> None:
        super().__init__(time_cost=real.time_cost, memory_cost=real.memory_cost, parallelism=real.parallelism)
        self.checked: list[object] = []
        self.made = 0

    def verify(self, hash: str | bytes, password: str | bytes) -> bool:  # type: ignore[override]
        costs = extract_parameters(str(hash))
        try:
            right = super().verify(hash, password)
        except VerifyMismatchError:
            self.checked.append(costs)
            raise
        self.checked.append(costs)
        return right

    def hash(self, password: str | bytes, *, salt: bytes | None = None) -> str:
        self.made += 1
        return super().hash(password, salt=salt)


@pytest.fixture
def hasher(monkeypatch: pytest.MonkeyPatch) -> Iterator[CountedHasher]:
    """Counts from the first try after the start on; the hash of nobody is not made yet."""
    counted = CountedHasher(passwords._hasher)
    monkeypatch.setattr(passwords, "_hasher", counted)
    passwords.nobodys.cache_clear()
    yield counted
    passwords.nobodys.cache_clear()


def _as_it_is(_site: Site) -> None:
    pass


def _switched_off(site: Site) -> None:
    with site.database.write() as session:
        session.execute(update(Account).where(Account.name == "clerk").values(active=False))


def _has_to_wait(site: Site) -> None:
    with site.database.write() as session:
        later = NOW + timedelta(minutes=10)
        session.execute(update(Account).where(Account.name == "clerk").values(failures=9, locked_until=later))


def _with_a_second_factor(site: Site) -> None:
    with site.database.write() as session:
        one = session.query(Account).filter_by(name="clerk").one()
        session.add(Factor(account_id=one.id, kind="totp", label="", data=b"", counter=0, made_at=NOW, proved_at=NOW))


TRIES = [
    pytest.param(_as_it_is, "nobody", WRONG, 403, id="unknown name"),
    pytest.param(_as_it_is, "nobody", PASSWORD, 403, id="unknown name with somebody's password"),
    pytest.param(_as_it_is, "", "", 403, id="nothing filled in"),
    pytest.param(_as_it_is, "n" * 5000, "x" * 5000, 403, id="far too long"),
    pytest.param(_as_it_is, "clerk", WRONG, 403, id="wrong password"),
    pytest.param(_as_it_is, "clerk", "", 403, id="no password"),
    pytest.param(_as_it_is, "clerk", "x" * 5000, 403, id="far too long a password"),
    pytest.param(_has_to_wait, "clerk", WRONG, 403, id="has to wait, wrong password"),
    pytest.param(_has_to_wait, "clerk", PASSWORD, 403, id="has to wait, right password"),
    pytest.param(_switched_off, "clerk", WRONG, 403, id="switched off, wrong password"),
    pytest.param(_switched_off, "clerk", PASSWORD, 403, id="switched off, right password"),
    pytest.param(_with_a_second_factor, "clerk", WRONG, 403, id="second factor, wrong password"),
    pytest.param(_with_a_second_factor, "clerk", PASSWORD, 303, id="second factor, right password"),
    pytest.param(_as_it_is, "clerk", PASSWORD, 303, id="right password"),
]


@pytest.mark.parametrize(("before", "name", "password", "answer"), TRIES)
def test_each_try_costs_one_check_of_a_password(
    site: Site, hasher: CountedHasher, before: Callable[[Site], None], name: str, password: str, answer: int
) -> None:
    before(site)
    form = {"name": name, "password": password}
    assert site.client().post("/sign-in", data=form).status_code == answer
    assert hasher.made == 1  # the hash of nobody: once after each start, for whoever comes first
    assert site.client().post("/sign-in", data=form).status_code == answer
    assert hasher.made == 1
    assert hasher.checked == [extract_parameters(passwords.nobodys())] * 2


@pytest.mark.parametrize(
    ("before", "name", "password"), [pytest.param(*one.values[:3], id=one.id) for one in TRIES if one.values[3] == 403]
)
def test_each_try_that_fails_writes_one_row_whoever_it_is_of(
    site: Site, before: Callable[[Site], None], name: str, password: str
) -> None:
    before(site)
    written: list[str] = []

    def note(_c: object, _cursor: object, statement: str, *_more: object) -> None:
        if not statement.startswith(("SELECT", "BEGIN", "PRAGMA")):
            written.append(statement)

    event.listen(site.database.engine, "before_cursor_execute", note)
    assert site.client().post("/sign-in", data={"name": name, "password": password}).status_code == 403
    event.remove(site.database.engine, "before_cursor_execute", note)
    assert [statement.partition(" SET ")[0] for statement in written] == ["UPDATE accounts"]


def test_each_of_many_wrong_passwords_costs_one_check_whether_it_has_to_wait_or_not(
    site: Site, hasher: CountedHasher
) -> None:
    for tries in range(1, 9):
        assert site.client().post("/sign-in", data={"name": "clerk", "password": WRONG}).status_code == 403
        assert len(hasher.checked) == tries


def test_a_password_that_was_hashed_more_weakly_is_hashed_anew_only_for_who_knows_it(
    site: Site, hasher: CountedHasher
) -> None:
    weak = PasswordHasher(time_cost=1, memory_cost=32, parallelism=1).hash(PASSWORD)
    with site.database.write() as session:
        session.execute(update(Account).where(Account.name == "clerk").values(password_hash=weak))
    site.client().post("/sign-in", data={"name": "clerk", "password": WRONG})
    assert (hasher.made, len(hasher.checked)) == (1, 1)
    site.client().post("/sign-in", data={"name": "clerk", "password": PASSWORD})
    assert (hasher.made, len(hasher.checked)) == (2, 2)
