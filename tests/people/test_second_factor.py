from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from replacements.people import accounts, second_factor
from replacements.people.second_factor import APP, DRIFT, RECOVERY, STEP, app_of
from replacements.store.database import Database
from replacements.store.tables import Account, Factor, RecoveryCode

NOW = datetime(2026, 9, 28, 15, 0, tzinfo=UTC)
WORDS = "copper kettle on a slow ferry"
SECRET = b"the installation's secret"


@pytest.fixture
def vera(people_database: Database) -> int:
    with people_database.write() as session:
        return accounts.create(session, name="vera", password=WORDS, roles=["clerk"], at=NOW).account_id


@pytest.fixture
def key(people_database: Database, vera: int) -> str:
    """The key of an app that was proved an hour ago."""
    earlier = NOW - timedelta(hours=1)
    with people_database.write() as session:
        made = second_factor.begin_app(session, vera, secret=SECRET, at=earlier)
        assert second_factor.prove_app(session, vera, code(made, earlier), secret=SECRET, at=earlier)
    return made


def code(key: str, at: datetime) -> str:
    return app_of(key).at(at)


def give(database: Database, account_id: int, typed: str, at: datetime = NOW) -> str:
    return second_factor.check(database, account_id, typed, secret=SECRET, at=at)


def test_the_code_that_the_app_shows_is_taken_however_it_is_spaced(
    people_database: Database, vera: int, key: str
) -> None:
    shown = code(key, NOW)
    assert give(people_database, vera, f" {shown[:3]} {shown[3:]} ") == APP


def test_a_code_is_taken_once_also_while_it_is_still_shown(people_database: Database, vera: int, key: str) -> None:
    """RFC 6238, 5.2; OWASP ASVS 5.0, 6.5.1."""
    assert give(people_database, vera, code(key, NOW)) == APP
    assert give(people_database, vera, code(key, NOW)) == ""
    assert give(people_database, vera, code(key, NOW), NOW + timedelta(seconds=5)) == ""
    later = NOW + timedelta(seconds=STEP)
    assert give(people_database, vera, code(key, later), later) == APP


def test_no_code_from_before_the_last_one_is_taken(people_database: Database, vera: int, key: str) -> None:
    assert give(people_database, vera, code(key, NOW)) == APP
    assert give(people_database, vera, code(key, NOW - timedelta(seconds=STEP))) == ""


@pytest.mark.parametrize("steps", range(-DRIFT - 1, DRIFT + 2))
def test_a_clock_may_be_one_step_off_and_no_more(people_database: Database, vera: int, key: str, steps: int) -> None:
    """RFC 6238, 5.2 (one step for the time on the way) and 6 (clocks that drift)."""
    shown = code(key, NOW + timedelta(seconds=steps * STEP))
    assert give(people_database, vera, shown) == (APP if abs(steps) <= DRIFT else "")


def test_wrong_codes_are_slowed_down_as_wrong_passwords_are(people_database: Database, vera: int, key: str) -> None:
    for _ in range(5):
        assert give(people_database, vera, "000000") == ""
    assert give(people_database, vera, code(key, NOW)) == ""
    later = NOW + timedelta(seconds=15)
    assert give(people_database, vera, code(key, later), later) == APP
    with people_database.read() as session:
        assert session.get_one(Account, vera).failures == 0


def test_who_knows_the_password_cannot_start_the_count_of_wrong_codes_anew(
    people_database: Database, vera: int, key: str
) -> None:
    for _ in range(4):
        assert accounts.check_password(people_database, "vera", WORDS, at=NOW) is not None
        assert give(people_database, vera, "000000") == ""
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW) is not None
    assert give(people_database, vera, "000000") == ""
    assert give(people_database, vera, code(key, NOW)) == "", "the fifth wrong code in a row is followed by a wait"
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW) is None


def test_an_app_that_was_not_proved_counts_for_nothing(people_database: Database, vera: int) -> None:
    with people_database.write() as session:
        made = second_factor.begin_app(session, vera, secret=SECRET, at=NOW)
        assert not second_factor.prove_app(session, vera, "000000", secret=SECRET, at=NOW)
        assert not accounts.has_factor(session, vera)
    assert give(people_database, vera, code(made, NOW)) == ""


def test_setting_up_begins_anew_after_a_quarter_of_an_hour(people_database: Database, vera: int) -> None:
    later = NOW + timedelta(minutes=16)
    with people_database.write() as session:
        made = second_factor.begin_app(session, vera, secret=SECRET, at=NOW)
        assert second_factor.being_set_up(session, vera, secret=SECRET, at=NOW) == made
        assert second_factor.being_set_up(session, vera, secret=SECRET, at=later) is None
        assert not second_factor.prove_app(session, vera, code(made, later), secret=SECRET, at=later)


def test_the_code_that_proved_an_app_does_not_sign_in_as_well(people_database: Database, vera: int) -> None:
    with people_database.write() as session:
        made = second_factor.begin_app(session, vera, secret=SECRET, at=NOW)
        assert second_factor.prove_app(session, vera, code(made, NOW), secret=SECRET, at=NOW)
    assert give(people_database, vera, code(made, NOW)) == ""


def test_the_database_alone_gives_no_key(people_database: Database, vera: int, key: str) -> None:
    with people_database.read() as session:
        kept = session.scalars(select(Factor.data)).one()
    assert key.encode() not in kept
    assert second_factor.check(people_database, vera, code(key, NOW), secret=b"another secret", at=NOW) == ""


def test_each_of_ten_recovery_codes_signs_in_once_and_is_kept_as_its_hash(
    people_database: Database, vera: int, key: str
) -> None:
    """OWASP ASVS 5.0, 6.5.1 and 6.5.2: once, and hashed; from 112 random bits on by a plain hash."""
    with people_database.write() as session:
        codes = second_factor.make_recovery_codes(session, vera, at=NOW)
    assert len(set(codes)) == 10
    assert all(len(one.replace("-", "")) * 5 >= 112 for one in codes), "five bits a character of base32"
    with people_database.read() as session:
        kept = " ".join(session.scalars(select(RecoveryCode.hash)))
    assert not any(one in kept or one.replace("-", "") in kept for one in codes)
    for left, one in zip(range(9, -1, -1), codes, strict=True):
        assert give(people_database, vera, one.lower()) == RECOVERY
        assert give(people_database, vera, one) == ""
        with people_database.read() as session:
            assert second_factor.standing(session, vera).codes_left == left


def test_new_recovery_codes_take_the_place_of_those_before(people_database: Database, vera: int, key: str) -> None:
    with people_database.write() as session:
        old = second_factor.make_recovery_codes(session, vera, at=NOW)
        second_factor.make_recovery_codes(session, vera, at=NOW)
    assert give(people_database, vera, old[0]) == ""


def test_a_recovery_code_is_of_one_account(people_database: Database, vera: int, key: str) -> None:
    with people_database.write() as session:
        otto = accounts.create(session, name="otto", password=WORDS, roles=["clerk"], at=NOW).account_id
        codes = second_factor.make_recovery_codes(session, vera, at=NOW)
    assert give(people_database, otto, codes[0]) == ""
    assert give(people_database, vera, codes[0]) == RECOVERY


def test_who_must_have_a_second_factor_does_not_remove_the_last_one(
    people_database: Database, vera: int, key: str
) -> None:
    with people_database.write() as session:
        number = second_factor.standing(session, vera).factors[0].id
        with pytest.raises(accounts.AccountTrouble, match="another one first"):
            second_factor.remove_one(session, vera, number, wanted=True)
        second_factor.make_recovery_codes(session, vera, at=NOW)
        second_factor.remove_one(session, vera, number, wanted=False)
        assert not accounts.has_factor(session, vera)
        assert second_factor.standing(session, vera).codes_left == 0, "recovery codes stand in for a factor"


def test_of_two_who_give_the_same_code_at_once_one_gets_in(database: Database) -> None:
    """On both kinds of database: the account's row is locked while a code is looked at."""
    with database.write() as session:
        number = accounts.create(session, name="vera", password=WORDS, roles=["clerk"], at=NOW).account_id
        made = second_factor.begin_app(session, number, secret=SECRET, at=NOW)
        earlier = NOW - timedelta(seconds=STEP)
        assert second_factor.prove_app(session, number, code(made, earlier), secret=SECRET, at=earlier)
        recovery = second_factor.make_recovery_codes(session, number, at=NOW)[0]
    for typed, kind in ((code(made, NOW), APP), (recovery, RECOVERY)):
        with ThreadPoolExecutor(4) as many:
            taken = list(many.map(lambda typed: give(database, number, typed), [typed] * 4))
        assert sorted(taken) == ["", "", "", kind]
