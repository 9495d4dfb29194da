from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from replacements.people.second_factor import STEP, app_of
from replacements.requests import office
from replacements.store.tables import Account, Factor, LedgerEntry, RecoveryCode, SignIn
from replacements.web import qr_code
from tests.web.invented_office import NOW, PASSWORD, RULES, Site
from tests.web.test_who_may_open_what import GET, POST

MUST = f'{RULES}\n[people]\nsecond_factor = ["supervisor"]\n'


@pytest.fixture
def strict(site: Site) -> Site:
    """The office's rules say that supervisors must give a second factor."""
    with site.database.write() as session:
        office.load(session, MUST, at=NOW)
        office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW)
    return site


def password_given(site: Site, name: str, back: str = "") -> FlaskClient:
    client = site.client()
    client.post("/sign-in", data={"name": name, "password": PASSWORD, "back": back})
    return client


def key_on(answer: TestResponse) -> str:
    found = re.search(r"<dt>Key</dt><dd><code>([A-Z2-7 ]+)</code>", answer.get_data(as_text=True))
    assert found is not None
    return found.group(1).replace(" ", "")


def set_up(site: Site, client: FlaskClient) -> tuple[str, list[str]]:
    """Set up an app; its key and the recovery codes."""
    key = key_on(client.post("/second-factor/app", data={"password": PASSWORD}))
    done = client.post("/second-factor/app/prove", data={"code": app_of(key).at(site.clock.at), "back": "/requests/1"})
    assert done.status_code == 200
    codes = re.findall(r"<li><code>([A-Z2-7-]{29})</code></li>", done.get_data(as_text=True))
    assert len(codes) == 10
    site.clock.at += timedelta(seconds=2 * STEP)
    return key, codes


def account(site: Site, name: str) -> int:
    with site.database.read() as session:
        return int(session.query(Account.id).filter_by(name=name).scalar())


def test_whose_role_must_have_one_is_led_to_set_it_up_and_comes_nowhere_else(strict: Site) -> None:
    """OWASP ASVS 5.0, 6.3.3: no way around it, whichever address is asked for."""
    client = password_given(strict, "supervisor", back="/requests/1")
    assert "Set up a second factor" in client.get("/second-factor/").get_data(as_text=True)
    for address in GET:
        if not address.startswith("/second-factor"):
            answer = client.get(address)
            assert (answer.status_code, answer.headers.get("Location")) == (303, "/second-factor/"), address
    for address in POST:
        if not address.startswith("/second-factor"):
            answer = client.post(address, data={"version": "1", "number": "5000018"})
            assert (answer.status_code, answer.headers.get("Location")) == (303, "/second-factor/"), address
    key, _ = set_up(strict, client)
    assert client.get("/requests/1").status_code == 200
    assert len(key) == 32


def test_other_roles_sign_in_as_before(strict: Site) -> None:
    assert password_given(strict, "clerk").get("/requests/1").status_code == 200


def test_from_then_on_the_password_alone_opens_nothing(strict: Site) -> None:
    key, _ = set_up(strict, password_given(strict, "supervisor"))
    client = password_given(strict, "supervisor", back="/requests/2")
    assert client.get("/requests/1").headers["Location"] == "/second-factor/"
    assert "six digits" in client.get("/second-factor/").get_data(as_text=True)
    wrong = client.post("/second-factor/", data={"code": "000000"})
    assert wrong.status_code == 403
    assert client.get("/requests/1").status_code == 303
    answer = client.post("/second-factor/", data={"code": app_of(key).at(strict.clock.at), "back": "/requests/2"})
    assert answer.headers["Location"] == "/requests/2"
    assert client.get("/requests/1").status_code == 200


def test_a_code_that_was_used_signs_nobody_else_in(strict: Site) -> None:
    key, _ = set_up(strict, password_given(strict, "supervisor"))
    shown = app_of(key).at(strict.clock.at)
    assert password_given(strict, "supervisor").post("/second-factor/", data={"code": shown}).status_code == 303
    assert password_given(strict, "supervisor").post("/second-factor/", data={"code": shown}).status_code == 403


def test_the_token_changes_when_the_second_factor_is_given(strict: Site) -> None:
    """OWASP ASVS 5.0, 7.2.4."""
    key, _ = set_up(strict, password_given(strict, "supervisor"))
    client = password_given(strict, "supervisor")
    half = client.get_cookie("sign-in")
    client.post("/second-factor/", data={"code": app_of(key).at(strict.clock.at)})
    whole = client.get_cookie("sign-in")
    assert half is not None
    assert whole is not None
    assert half.value != whole.value
    client.set_cookie("sign-in", half.value)
    assert "/sign-in" in client.get("/").headers["Location"]


def test_half_a_sign_in_sets_up_no_factor_of_its_own_beside_the_one_there_is(strict: Site) -> None:
    set_up(strict, password_given(strict, "supervisor"))
    thief = password_given(strict, "supervisor")
    for address in (
        "/second-factor/app",
        "/second-factor/app/prove",
        "/second-factor/codes",
        "/second-factor/1/remove",
    ):
        assert thief.post(address, data={"password": PASSWORD, "code": "1"}).status_code == 403, address


def test_half_a_sign_in_is_over_after_a_quarter_of_an_hour(strict: Site) -> None:
    client = password_given(strict, "supervisor")
    strict.clock.at += timedelta(minutes=15)
    assert "/sign-in" in client.get("/second-factor/").headers["Location"]


def test_a_recovery_code_stands_in_once_and_one_is_told_how_many_are_left(strict: Site) -> None:
    _, codes = set_up(strict, password_given(strict, "supervisor"))
    client = password_given(strict, "supervisor")
    client.post("/second-factor/", data={"code": codes[3]})
    assert "9 are left" in client.get("/").get_data(as_text=True)
    assert password_given(strict, "supervisor").post("/second-factor/", data={"code": codes[3]}).status_code == 403


def test_rules_that_come_later_hold_for_who_is_signed_in_already(site: Site) -> None:
    client = site.client("supervisor")
    assert client.get("/requests/1").status_code == 200
    with site.database.write() as session:
        office.load(session, MUST, at=NOW)
        office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW)
    assert client.get("/requests/1").headers["Location"] == "/second-factor/"
    with site.database.read() as session:
        assert session.query(SignIn).one().outstanding == "set_up"


def test_who_need_not_may_have_one_and_is_asked_for_it(site: Site) -> None:
    client = password_given(site, "clerk")
    elsewhere = password_given(site, "clerk")
    assert client.post("/second-factor/app", data={"password": "not it"}).status_code == 400
    key, _ = set_up(site, client)
    assert client.get("/requests/1").status_code == 200
    assert elsewhere.get("/requests/1").status_code == 303, "all others are ended (OWASP ASVS 5.0, 7.4.3)"
    again = password_given(site, "clerk")
    assert again.get("/requests/1").headers["Location"] == "/second-factor/"
    again.post("/second-factor/", data={"code": app_of(key).at(site.clock.at)})
    assert again.get("/requests/1").status_code == 200


def test_one_removes_ones_own_with_the_password_unless_the_role_must_have_it(site: Site) -> None:
    client = password_given(site, "clerk")
    set_up(site, client)
    with site.database.read() as session:
        number = session.query(Factor.id).scalar()
    assert client.post(f"/second-factor/{number}/remove", data={"password": "not it"}).status_code == 400
    assert client.post(f"/second-factor/{number}/remove", data={"password": PASSWORD}).status_code == 303
    with site.database.read() as session:
        assert session.query(Factor).count() == session.query(RecoveryCode).count() == 0


def test_a_supervisor_takes_a_lost_one_off_on_the_record_and_sees_no_secret(strict: Site) -> None:
    """OWASP ASVS 5.0, 6.4.4 and 6.5.6."""
    clerk = password_given(strict, "clerk")
    key, codes = set_up(strict, clerk)
    boss = password_given(strict, "supervisor")
    set_up(strict, boss)
    page = boss.get("/people/").get_data(as_text=True)
    assert "second factor: authenticator app; 10 recovery codes left" in page
    assert key not in page.replace(" ", "")
    assert not any(code in page for code in codes)
    address = f"/people/{account(strict, 'clerk')}/second-factor/remove"
    boss.post(address)
    assert clerk.get("/requests/1").status_code == 200, "not without saying that one knows who asks"
    boss.post(address, data={"known": "yes"})
    assert clerk.get("/requests/1").status_code == 303
    assert password_given(strict, "clerk").get("/requests/1").status_code == 200
    with strict.database.read() as session:
        entries = [e for e in session.query(LedgerEntry) if "second_factor" in e.event]
        assert [(e.event, e.by) for e in entries] == [
            ("second_factor_set_up", "clerk"),
            ("second_factor_set_up", "supervisor"),
            ("account_second_factor_removed", "supervisor"),
        ]
        assert not any(key in e.details or codes[0] in e.details for e in entries)


def test_the_drawing_holds_what_the_text_says_with_white_around_it(site: Site) -> None:
    client = password_given(site, "clerk")
    page = client.post("/second-factor/app", data={"password": PASSWORD}).get_data(as_text=True)
    assert "<svg" in page
    key = re.search(r"<dt>Key</dt><dd><code>([A-Z2-7 ]+)</code>", page)
    assert key is not None
    address = app_of(key.group(1).replace(" ", "")).provisioning_uri(
        name="clerk", issuer_name="Fennmark County Elections"
    )
    drawn = qr_code.drawing(address)
    assert drawn.path in html.unescape(page)
    rows = qr_code.modules(address)
    finder = ["1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111"]  # ISO/IEC 18004, 6.3.3
    assert ["".join("01"[dark] for dark in row[:7]) for row in rows[:7]] == finder
    assert ["".join("01"[dark] for dark in row[-7:]) for row in rows[:7]] == finder
    assert drawn.size == len(rows) + 8
