from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from urllib.parse import parse_qs, urlsplit
from urllib.request import HTTPRedirectHandler, build_opener

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from replacements.requests import office
from replacements.settings import Settings, SettingTrouble
from replacements.store.tables import Account, LedgerEntry, SignIn
from replacements.web.app import create_app
from tests.servers.openid_provider import CLIENT, SECRET, Provider, openid_provider
from tests.web.invented_office import NOW, PASSWORD, RULES, Site

SUB = "7f3a"


@pytest.fixture(scope="module")
def service() -> Iterator[Provider]:
    with openid_provider() as provider:
        yield provider


@pytest.fixture
def provider(service: Provider, site: Site) -> Provider:
    """The provider as it should be, on the office's clock, known to the office; the clerk is named in it."""
    service.claims, service.signed_by, service.named, service.now = {}, "own", "", site.clock.at.timestamp()
    site.settings = replace(
        site.settings, oidc_issuer=service.issuer, oidc_client=CLIENT, oidc_secret=SECRET, oidc_claim="sub"
    )
    with site.database.write() as session:
        session.query(Account).filter_by(name="clerk").one().provider_name = SUB
    return service


class _Stay(HTTPRedirectHandler):
    def http_error_303(self, _request: object, answer: object, *_rest: object) -> object:  # type: ignore[override]
        return answer

    http_error_302 = http_error_303


def there(address: str) -> str:
    """What a browser does at the provider: it is sent back at once. The address it is sent to, without the host."""
    with build_opener(_Stay()).open(address, timeout=10) as answer:
        back = urlsplit(answer.headers["Location"])
    return f"{back.path}?{back.query}"


def go(client: FlaskClient, back: str = "") -> TestResponse:
    begun = client.get(f"/sign-in/service?back={back}")
    assert begun.status_code == 303, begun.get_data(as_text=True)
    return client.get(there(begun.headers["Location"]))


def nobody_is_in(site: Site) -> bool:
    with site.database.read() as session:
        return session.query(SignIn).count() == 0


def test_who_is_named_there_and_has_an_account_here_is_signed_in(site: Site, provider: Provider) -> None:
    client = site.client()
    assert "/sign-in/service" in client.get("/sign-in").get_data(as_text=True)
    answer = go(client, back="/requests/1")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/requests/1")
    assert client.get("/requests/1").status_code == 200


def test_state_nonce_and_pkce_are_new_every_time(site: Site, provider: Provider) -> None:
    """OWASP ASVS 5.0, 10.1.2."""
    asked = [parse_qs(urlsplit(site.client().get("/sign-in/service").headers["Location"]).query) for _ in range(2)]
    for name in ("state", "nonce", "code_challenge"):
        assert asked[0][name] != asked[1][name]
        assert len(asked[0][name][0]) == 43, "256 bits"


def test_no_account_is_made_by_itself(site: Site, provider: Provider) -> None:
    provider.claims = {"sub": "somebody else", "preferred_username": "clerk"}
    with site.database.read() as session:
        before = session.query(Account).count()
    answer = go(site.client())
    assert answer.status_code == 403
    assert "no account here" in answer.get_data(as_text=True)
    assert nobody_is_in(site)
    with site.database.read() as session:
        assert session.query(Account).count() == before


def test_an_account_switched_off_stays_out(site: Site, provider: Provider) -> None:
    with site.database.write() as session:
        session.query(Account).filter_by(name="clerk").one().active = False
    assert go(site.client()).status_code == 403
    assert nobody_is_in(site)


@pytest.mark.parametrize(
    "wrong",
    [
        {"aud": "another client"},
        {"aud": [CLIENT, "another client"]},
        {"iss": "https://elsewhere.example"},
        {"nonce": "from another sign-in"},
        {"nonce": None},
        {"exp": 1},
        {"exp": None},
        {"iat": 4_000_000_000},
        {"azp": "another client"},
        {"sub": None},
        {"sub": ["7f3a"]},
    ],
    ids=str,
)
def test_a_token_that_is_not_for_us_now_is_refused(site: Site, provider: Provider, wrong: dict[str, object]) -> None:
    """OpenID Connect Core 1.0, 3.1.3.7; OWASP ASVS 5.0, 10.5.1 and 10.5.4."""
    provider.claims = wrong
    assert go(site.client()).status_code == 403
    assert nobody_is_in(site)


@pytest.mark.parametrize("by", ["other", "shared", "nobody"])
def test_a_token_that_the_service_did_not_sign_is_refused(site: Site, provider: Provider, by: str) -> None:
    """RFC 8725, 2.1: `none`, and a public key taken for a shared secret."""
    provider.signed_by = by
    assert go(site.client()).status_code == 403
    assert nobody_is_in(site)


def test_metadata_that_names_another_issuer_is_refused(site: Site, provider: Provider) -> None:
    """OWASP ASVS 5.0, 10.5.3."""
    provider.named = "https://elsewhere.example"
    answer = site.client().get("/sign-in/service")
    assert answer.status_code == 403
    assert "another issuer" in answer.get_data(as_text=True)


def test_an_answer_that_this_browser_did_not_ask_for_signs_nobody_in(site: Site, provider: Provider) -> None:
    """OWASP ASVS 5.0, 10.2.1: an attacker's answer, given to somebody else's browser."""
    theirs = there(site.client().get("/sign-in/service").headers["Location"])
    assert site.client().get(theirs).status_code == 403
    asked_too = site.client()
    asked_too.get("/sign-in/service")
    assert asked_too.get(theirs).status_code == 403
    assert nobody_is_in(site)


def test_an_answer_counts_once_and_not_for_long(site: Site, provider: Provider) -> None:
    client = site.client()
    address = there(client.get("/sign-in/service").headers["Location"])
    assert client.get(address).status_code == 303
    client.post("/sign-out")
    assert client.get(address).status_code == 403
    late = there(client.get("/sign-in/service").headers["Location"])
    site.clock.at += timedelta(minutes=11)
    assert client.get(late).status_code == 403


def test_a_code_without_its_proof_key_is_worth_nothing(site: Site, provider: Provider) -> None:
    """RFC 7636: who steals the code has not the verifier."""
    stolen = parse_qs(urlsplit(there(site.client().get("/sign-in/service").headers["Location"])).query)["code"][0]
    thief = site.client()
    own = parse_qs(urlsplit(thief.get("/sign-in/service").headers["Location"]).query)["state"][0]
    assert thief.get(f"/sign-in/answer?code={stolen}&state={own}").status_code == 403
    assert nobody_is_in(site)


def test_another_site_begins_no_sign_in(site: Site, provider: Provider) -> None:
    """OWASP ASVS 5.0, 7.6.2."""
    answer = site.client().get("/sign-in/service", headers={"Sec-Fetch-Site": "cross-site"})
    assert answer.headers["Location"] == "/sign-in"


def test_a_second_factor_is_asked_for_unless_the_service_asked(site: Site, provider: Provider) -> None:
    with site.database.write() as session:
        office.load(session, f'{RULES}\n[people]\nsecond_factor = ["clerk"]\n', at=NOW)
        office.adopt(session, official="Registrar Hollis Penn", by="supervisor", at=NOW)
    assert go(site.client()).headers["Location"] == "/second-factor/"
    provider.claims = {"amr": ["pwd", "otp"]}
    assert go(site.client()).headers["Location"] == "/second-factor/"
    provider.claims = {"amr": ["pwd", "otp", "mfa"]}  # RFC 8176, 2
    client = site.client()
    assert go(client).headers["Location"] == "/"
    assert client.get("/requests/1").status_code == 200


def test_a_service_that_cannot_be_reached_leaves_the_password(site: Site, provider: Provider) -> None:
    site.settings = replace(site.settings, oidc_issuer="http://127.0.0.1:9")
    answer = site.client().get("/sign-in/service")
    assert answer.status_code == 403
    assert "You can sign in with your password" in answer.get_data(as_text=True)


def test_a_supervisor_enters_the_name_that_the_service_has_on_the_record(site: Site, provider: Provider) -> None:
    boss = site.client("supervisor")
    with site.database.read() as session:
        number = session.query(Account.id).filter_by(name="mail_room").scalar()
    boss.post(f"/people/{number}/provider-name", data={"provider_name": SUB})
    assert "The account clerk has that name" in boss.get("/people/").get_data(as_text=True)
    boss.post(f"/people/{number}/provider-name", data={"provider_name": "91c0"})
    provider.claims = {"sub": "91c0"}
    client = site.client()
    go(client)
    assert client.get("/mailings/1").status_code == 200
    with site.database.read() as session:
        assert session.query(LedgerEntry).filter_by(event="account_provider_name_changed").count() == 1


def test_without_a_service_nothing_of_it_is_there(site: Site) -> None:
    client = site.client()
    assert "sign-in service" not in client.get("/sign-in").get_data(as_text=True)
    assert client.get("/sign-in/service").status_code == client.get("/sign-in/answer").status_code == 404
    assert client.post("/sign-in", data={"name": "clerk", "password": PASSWORD}).status_code == 303


@pytest.mark.parametrize(
    ("issuer", "client", "why"),
    [
        ("http://id.example", "x", "https"),
        ("ftp://id.example", "x", "https"),
        ("https://id.example", "", "OIDC_CLIENT"),
    ],
)
def test_a_service_that_cannot_be_used_is_said_at_the_start(site: Site, issuer: str, client: str, why: str) -> None:
    with pytest.raises(SettingTrouble, match=why):
        create_app(site.database, replace(site.settings, oidc_issuer=issuer, oidc_client=client), now=site.clock)


def test_the_secret_may_stand_in_a_file(tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("a secret\n", encoding="utf-8")
    settings = Settings.from_environment({"REPLACEMENTS_OIDC_SECRET_FILE": str(tmp_path / "secret")})
    assert settings.oidc_secret == "a secret"
