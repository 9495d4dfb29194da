from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import select

from replacements.people import accounts
from replacements.people.passwords import PasswordRefused
from replacements.store.database import Database
from replacements.store.tables import Account, SignIn

NOW = datetime(2026, 9, 28, 15, 0, tzinfo=UTC)
WORDS = "copper kettle on a slow ferry"


@pytest.fixture
def vera(people_database: Database) -> accounts.Member:
    with people_database.write() as session:
        return accounts.create(session, name="Vera", full_name="Vera Quill", password=WORDS, roles=["clerk"], at=NOW)


def test_the_right_password_signs_in_and_the_name_is_not_case_sensitive(
    people_database: Database, vera: accounts.Member
) -> None:
    assert vera.name == "vera"
    assert accounts.check_password(people_database, " VERA ", WORDS, at=NOW) == vera


def test_a_wrong_password_an_unknown_name_and_an_account_switched_off_get_the_same_answer(
    people_database: Database, vera: accounts.Member
) -> None:
    assert accounts.check_password(people_database, "vera", WORDS + "!", at=NOW) is None
    assert accounts.check_password(people_database, "nobody", WORDS, at=NOW) is None
    with people_database.write() as session:
        accounts.switch_off(session, vera.account_id)
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW) is None


def test_after_five_wrong_passwords_even_the_right_one_has_to_wait_but_never_for_good(
    people_database: Database, vera: accounts.Member
) -> None:
    for _ in range(5):
        assert accounts.check_password(people_database, "vera", "wrong", at=NOW) is None
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW) is None
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW + timedelta(seconds=15)) == vera
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW + timedelta(seconds=15)) == vera


def test_the_wait_grows_to_fifteen_minutes_and_no_further(people_database: Database, vera: accounts.Member) -> None:
    at, waits = NOW, []
    for _ in range(14):
        accounts.check_password(people_database, "vera", "wrong", at=at)
        with people_database.read() as session:
            until = session.scalars(select(Account.locked_until)).one()
        waits.append((until - at).total_seconds() if until else 0)
        at = until or at
    assert waits == [0, 0, 0, 0, 15, 30, 60, 120, 240, 480, 900, 900, 900, 900]
    assert accounts.check_password(people_database, "vera", WORDS, at=at) == vera


def test_tries_during_the_wait_do_not_make_it_longer(people_database: Database, vera: accounts.Member) -> None:
    for _ in range(50):
        accounts.check_password(people_database, "vera", "wrong", at=NOW)
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW + timedelta(seconds=15)) == vera


def test_a_sign_in_ends_after_an_hour_unused(people_database: Database, vera: accounts.Member) -> None:
    with people_database.write() as session:
        token = accounts.start_sign_in(session, vera.account_id, at=NOW)
    assert accounts.signed_in(people_database, token, at=NOW + timedelta(minutes=59)) == vera
    assert accounts.signed_in(people_database, token, at=NOW + timedelta(minutes=118)) == vera
    assert accounts.signed_in(people_database, token, at=NOW + timedelta(minutes=178)) is None


def test_a_sign_in_ends_after_twelve_hours_however_busy(people_database: Database, vera: accounts.Member) -> None:
    with people_database.write() as session:
        token = accounts.start_sign_in(session, vera.account_id, at=NOW)
    for minutes in range(0, 12 * 60, 30):
        assert accounts.signed_in(people_database, token, at=NOW + timedelta(minutes=minutes)) == vera
    assert accounts.signed_in(people_database, token, at=NOW + timedelta(hours=12)) is None


def test_the_database_holds_no_token_that_would_sign_in(people_database: Database, vera: accounts.Member) -> None:
    with people_database.write() as session:
        token = accounts.start_sign_in(session, vera.account_id, at=NOW)
        kept = session.scalars(select(SignIn.token)).one()
    assert token not in kept
    assert accounts.signed_in(people_database, kept, at=NOW) is None


def test_signing_out_and_switching_off_end_a_sign_in_at_once(people_database: Database, vera: accounts.Member) -> None:
    with people_database.write() as session:
        first = accounts.start_sign_in(session, vera.account_id, at=NOW)
        second = accounts.start_sign_in(session, vera.account_id, at=NOW)
        accounts.end_sign_in(session, first)
    assert accounts.signed_in(people_database, first, at=NOW) is None
    assert accounts.signed_in(people_database, second, at=NOW) == vera
    with people_database.write() as session:
        accounts.switch_off(session, vera.account_id)
    assert accounts.signed_in(people_database, second, at=NOW) is None


def test_another_password_ends_every_other_sign_in(people_database: Database, vera: accounts.Member) -> None:
    with people_database.write() as session:
        here = accounts.start_sign_in(session, vera.account_id, at=NOW)
        elsewhere = accounts.start_sign_in(session, vera.account_id, at=NOW)
        accounts.set_password(session, vera.account_id, "seven herons in the reeds", keep_token=here)
    assert accounts.signed_in(people_database, here, at=NOW) == vera
    assert accounts.signed_in(people_database, elsewhere, at=NOW) is None
    assert accounts.check_password(people_database, "vera", WORDS, at=NOW) is None


def test_the_last_supervisor_cannot_be_switched_off(people_database: Database) -> None:
    with people_database.write() as session:
        boss = accounts.create(session, name="ines", password=WORDS, roles=["supervisor"], at=NOW)
        with pytest.raises(accounts.AccountTrouble, match="last active supervisor"):
            accounts.switch_off(session, boss.account_id)
        with pytest.raises(accounts.AccountTrouble, match="last active supervisor"):
            accounts.set_roles(session, boss.account_id, ["clerk"])
        accounts.create(session, name="otto", password=WORDS, roles=["supervisor"], at=NOW)
        accounts.switch_off(session, boss.account_id)


@pytest.mark.parametrize(
    ("roles", "why"),
    [(["observer", "clerk"], "no other role"), ([], "at least one role"), (["director"], "no role director")],
)
def test_roles_that_do_not_go_together_are_refused(people_database: Database, roles: list[str], why: str) -> None:
    with people_database.write() as session, pytest.raises(accounts.AccountTrouble, match=why):
        accounts.create(session, name="vera", password=WORDS, roles=roles, at=NOW)


@pytest.mark.parametrize("name", ["", "two words", "import", "schedule", "<b>", "a" * 41, "-vera"])
def test_names_that_the_ledger_could_not_show_plainly_are_refused(people_database: Database, name: str) -> None:
    with people_database.write() as session, pytest.raises(accounts.AccountTrouble):
        accounts.create(session, name=name, password=WORDS, roles=["clerk"], at=NOW)


def test_a_name_is_taken_once(people_database: Database, vera: accounts.Member) -> None:
    with people_database.write() as session, pytest.raises(accounts.AccountTrouble, match="already"):
        accounts.create(session, name="VERA", password=WORDS, roles=["clerk"], at=NOW)


def test_a_password_as_short_as_everywhere_else_is_refused(people_database: Database) -> None:
    with people_database.write() as session, pytest.raises(PasswordRefused, match="15 are needed"):
        accounts.create(session, name="vera", password="Tr0ub4dor&3xyz", roles=["clerk"], at=NOW)


def test_an_address_for_the_weekly_summary_must_be_one(people_database: Database, vera: accounts.Member) -> None:
    with people_database.write() as session:
        accounts.set_email(session, vera.account_id, " vera@fennmark.example ")
        assert session.get_one(Account, vera.account_id).email == "vera@fennmark.example"
        accounts.set_email(session, vera.account_id, "")
        with pytest.raises(accounts.AccountTrouble, match="not a mail address"):
            accounts.set_email(session, vera.account_id, "vera at fennmark")
