from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from flask.testing import FlaskClient

from replacements.settings import Settings, SettingTrouble
from replacements.store.tables import Account, LedgerEntry, SignIn
from replacements.web.app import create_app
from replacements.web.browsers import UNKNOWN, in_plain_words
from tests.web.invented_office import PASSWORD, Site

FIREFOX = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"
PHONE = "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML) Version/18.5 Safari/604.1"
CHROME = "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/140.0.0.0 Safari/537.36"
EDGE = CHROME + " Edg/140.0.0.0"


def sign_in(site: Site, name: str = "clerk", browser: str = FIREFOX) -> FlaskClient:
    client = site.client()
    answer = client.post("/sign-in", data={"name": name, "password": PASSWORD}, headers={"User-Agent": browser})
    assert answer.status_code == 303
    return client


def _numbers(site: Site) -> dict[str, int]:
    with site.database.read() as session:
        return {row.browser: row.id for row in session.query(SignIn)}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (FIREFOX, "Firefox on Windows"),
        (PHONE, "Safari on an iPhone"),
        (CHROME, "Chrome on Linux"),
        (EDGE, "Edge on Linux"),
        ("", UNKNOWN),
        ("<script>alert(1)</script>", UNKNOWN),
    ],
)
def test_a_browser_is_named_in_plain_words_and_nothing_that_it_sends_is_kept(said: str, words: str) -> None:
    assert in_plain_words(said) == words


def test_one_sees_where_one_is_signed_in_and_which_of_them_this_is(site: Site) -> None:
    here = sign_in(site)
    site.clock.at += timedelta(minutes=12)
    sign_in(site, browser=PHONE)
    sign_in(site, "supervisor", CHROME)
    page = here.get("/my-sign-ins").get_data(as_text=True)
    assert "Firefox on Windows <span class" in page
    assert "Safari on an iPhone" in page
    assert page.count("this one</span>") == 1
    assert "Chrome on Linux" not in page, "somebody else's"


def test_one_ends_a_sign_in_elsewhere_and_stays_signed_in_here(site: Site) -> None:
    """OWASP ASVS 5.0, 7.5.2: seen and ended by the person, who proves again who they are."""
    here, elsewhere = sign_in(site), sign_in(site, browser=PHONE)
    which = str(_numbers(site)["Safari on an iPhone"])
    refused = here.post("/my-sign-ins", data={"which": which, "password": "not it"})
    assert refused.status_code == 400
    assert elsewhere.get("/").status_code == 200
    assert here.post("/my-sign-ins", data={"which": which, "password": PASSWORD}).status_code == 303
    assert elsewhere.get("/").status_code == 303
    assert here.get("/").status_code == 200


def test_one_ends_all_others_at_once(site: Site) -> None:
    here, others = sign_in(site), [sign_in(site, browser=PHONE) for _ in range(3)]
    boss = sign_in(site, "supervisor")
    here.post("/my-sign-ins", data={"which": "all", "password": PASSWORD})
    assert [other.get("/").status_code for other in others] == [303, 303, 303]
    assert here.get("/").status_code == boss.get("/").status_code == 200


def test_nobody_ends_the_sign_in_of_somebody_else_by_its_number(site: Site) -> None:
    here, boss = sign_in(site), sign_in(site, "supervisor", CHROME)
    which = str(_numbers(site)["Chrome on Linux"])
    answer = here.post("/my-sign-ins", data={"which": which, "password": PASSWORD})
    assert "over already" in answer.get_data(as_text=True)
    assert boss.get("/").status_code == 200


def test_a_supervisor_ends_anybodys_and_that_is_on_the_record(site: Site) -> None:
    """OWASP ASVS 5.0, 7.4.5."""
    clerk, boss = sign_in(site), sign_in(site, "supervisor", CHROME)
    with site.database.read() as session:
        number = session.query(Account.id).filter_by(name="clerk").scalar()
    assert "Firefox on Windows" in boss.get(f"/people/{number}/sign-ins").get_data(as_text=True)
    boss.post(f"/people/{number}/sign-ins", data={"which": "all", "password": PASSWORD})
    assert clerk.get("/").status_code == 303
    assert boss.get("/").status_code == 200
    with site.database.read() as session:
        entry = session.query(LedgerEntry).filter_by(event="account_signed_out").one()
        assert entry.by == "supervisor"
        assert '"clerk"' in entry.details


def test_a_token_from_before_signing_in_is_worth_nothing_afterwards(site: Site) -> None:
    """Session fixation (OWASP ASVS 5.0, 7.2.4): whoever planted a token, or knows the last one, is not signed in."""
    client = site.client()
    client.set_cookie("sign-in", "planted-by-somebody-else")
    client.post("/sign-in", data={"name": "clerk", "password": PASSWORD})
    first = client.get_cookie("sign-in")
    assert first is not None
    assert first.value != "planted-by-somebody-else"
    client.post("/sign-in", data={"name": "clerk", "password": PASSWORD})
    second = client.get_cookie("sign-in")
    assert second is not None
    assert second.value != first.value
    for old in ("planted-by-somebody-else", first.value):
        thief = site.client()
        thief.set_cookie("sign-in", old)
        assert thief.get("/").status_code == 303


def test_another_password_ends_all_others(site: Site) -> None:
    """OWASP ASVS 5.0, 7.4.3."""
    here, elsewhere = sign_in(site), sign_in(site, browser=PHONE)
    fresh = "two herons under an old bridge"
    here.post("/my-password", data={"present": PASSWORD, "password": fresh, "again": fresh})
    assert elsewhere.get("/").status_code == 303
    assert here.get("/").status_code == 200


def test_an_office_may_end_sign_ins_sooner(site: Site) -> None:
    site.settings = replace(site.settings, sign_in_idle=10, sign_in_longest=2)
    client = sign_in(site)
    site.clock.at += timedelta(minutes=9)
    assert client.get("/").status_code == 200
    site.clock.at += timedelta(minutes=10)
    assert client.get("/").status_code == 303
    busy = sign_in(site)
    for _ in range(14):
        site.clock.at += timedelta(minutes=8)
        assert busy.get("/").status_code == 200
    site.clock.at += timedelta(minutes=8)
    assert busy.get("/").status_code == 303


@pytest.mark.parametrize("wrong", ["0", "61", "an hour", "1.5"])
def test_an_end_beyond_what_the_standard_allows_is_refused_by_name(wrong: str) -> None:
    """NIST SP 800-63B-4, 2.2.3 (AAL2): an hour without use; value from memory of the section."""
    with pytest.raises(SettingTrouble, match="REPLACEMENTS_SIGN_IN_IDLE"):
        Settings.from_environment({"REPLACEMENTS_SIGN_IN_IDLE": wrong})


def test_a_page_that_is_open_in_one_app_is_not_signed_in_by_the_form_cookie_alone(site: Site) -> None:
    client = sign_in(site)
    client.delete_cookie("sign-in")
    assert client.get("/").status_code == 303
    assert create_app(site.database, site.settings, now=site.clock).config["WTF_CSRF_TIME_LIMIT"] == 12 * 3600
