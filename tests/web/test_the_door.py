from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from replacements.store.database import Database
from replacements.store.tables import Account, SignIn
from replacements.web.app import create_app
from tests.web.invented_office import PASSWORD, Site


def _form_token(page: str) -> str:
    found = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert found is not None
    return found.group(1)


def test_one_signs_in_and_comes_to_the_page_that_one_wanted(site: Site) -> None:
    client = site.client()
    wanted = client.get("/requests/1").headers["Location"]
    assert client.get(wanted).status_code == 200
    answer = client.post("/sign-in", data={"name": "clerk", "password": PASSWORD, "back": "/requests/1"})
    assert answer.headers["Location"] == "/requests/1"
    assert client.get("/requests/1").status_code == 200


@pytest.mark.parametrize("back", ["https://evil.example/", "//evil.example", "/\\evil.example", "javascript:1", ""])
def test_signing_in_never_leads_to_another_site(site: Site, back: str) -> None:
    answer = site.client().post("/sign-in", data={"name": "clerk", "password": PASSWORD, "back": back})
    assert answer.headers["Location"] == "/"


def test_a_wrong_password_and_an_unknown_name_read_the_same(site: Site) -> None:
    wrong = site.client().post("/sign-in", data={"name": "clerk", "password": "no"})
    unknown = site.client().post("/sign-in", data={"name": "nobody", "password": "no"})
    assert wrong.status_code == unknown.status_code == 403
    token = re.compile(rb'name="csrf_token" value="[^"]+"')
    assert token.sub(b"", wrong.data) == token.sub(b"", unknown.data)


def test_signing_out_ends_it_on_the_server(site: Site) -> None:
    client = site.client()
    client.post("/sign-in", data={"name": "clerk", "password": PASSWORD})
    cookie = client.get_cookie("sign-in")
    assert cookie is not None
    client.post("/sign-out")
    client.set_cookie("sign-in", cookie.value)
    assert client.get("/").status_code == 303
    with site.database.read() as session:
        assert session.query(SignIn).count() == 0


def test_an_hour_without_work_ends_it(site: Site) -> None:
    client = site.client("clerk")
    site.clock.at += timedelta(minutes=61)
    assert client.get("/").status_code == 303


def test_cookies_are_out_of_reach_of_scripts_and_other_sites(site: Site) -> None:
    answer = site.client().post("/sign-in", data={"name": "clerk", "password": PASSWORD})
    cookie = next(c for c in answer.headers.getlist("Set-Cookie") if c.startswith("sign-in="))
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert "Domain" not in cookie


def test_with_https_cookies_are_tied_to_this_very_host_and_go_by_https_only(site: Site) -> None:
    app = create_app(site.database, replace(site.settings, https=True), now=site.clock)
    client = app.test_client()
    page = client.get("/sign-in", base_url="https://localhost")
    assert page.headers["Strict-Transport-Security"] == "max-age=31536000"
    form = next(c for c in page.headers.getlist("Set-Cookie") if c.startswith("__Host-form="))
    assert "Secure" in form
    answer = client.post(
        "/sign-in",
        data={"name": "clerk", "password": PASSWORD, "csrf_token": _form_token(page.get_data(as_text=True))},
        base_url="https://localhost",
        headers={"Referer": "https://localhost/sign-in"},
    )
    cookie = next(c for c in answer.headers.getlist("Set-Cookie") if c.startswith("__Host-sign-in="))
    assert "Secure" in cookie
    assert "Path=/" in cookie


def test_a_form_without_its_token_is_refused_and_nothing_is_changed(site: Site) -> None:
    app = create_app(site.database, site.settings, now=site.clock)
    client = app.test_client()
    signed = site.client("supervisor").get_cookie("sign-in")
    assert signed is not None
    client.set_cookie("sign-in", signed.value)
    answer = client.post("/people/1/off")
    assert answer.status_code == 400
    assert "too old" in answer.get_data(as_text=True)
    assert site.see("clerk", "/").status_code == 200
    token = _form_token(client.get("/people/").get_data(as_text=True))
    assert client.post("/people/1/off", data={"csrf_token": token}).status_code == 303
    with site.database.read() as session:
        assert session.query(SignIn).filter_by(account_id=1).count() == 0


def test_changing_ones_password_needs_the_present_one(site: Site) -> None:
    client = site.client("clerk")
    fresh = "two herons under an old bridge"
    wrong = client.post("/my-password", data={"present": "no", "password": fresh, "again": fresh})
    assert wrong.status_code == 400
    short = client.post("/my-password", data={"present": PASSWORD, "password": "short", "again": "short"})
    assert "15 are needed" in short.get_data(as_text=True)
    assert client.post("/my-password", data={"present": PASSWORD, "password": fresh, "again": fresh}).status_code == 303
    assert client.get("/").status_code == 200
    assert site.client().post("/sign-in", data={"name": "clerk", "password": fresh}).status_code == 303


def test_no_page_makes_the_first_account_and_none_is_there_by_default(sqlite_database: Database, site: Site) -> None:
    """It is made on the command line (OWASP ASVS 5.0, 6.3.2: no default accounts)."""
    client = create_app(sqlite_database, site.settings, now=site.clock).test_client()
    client.application.config["WTF_CSRF_ENABLED"] = False
    form = {"name": "boss", "password": PASSWORD, "roles": "supervisor"}
    for address in ("/people/", "/sign-in", "/my-password", "/second-factor/"):
        assert client.post(address, data=form).status_code in (303, 403)
    with sqlite_database.read() as session:
        assert session.query(Account).count() == session.query(SignIn).count() == 0
