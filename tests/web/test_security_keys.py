from __future__ import annotations

import json
from typing import Any

import pytest
from fido2.utils import websafe_decode, websafe_encode
from flask.testing import FlaskClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from replacements.people import security_keys
from replacements.people.sign_ins import Found, member_of
from replacements.store.tables import Account, Factor, LedgerEntry, SignIn
from tests.servers.software_key import SoftwareKey
from tests.web.invented_office import PASSWORD, Site
from tests.web.test_second_factor_at_signing_in import password_given


def options(client: FlaskClient, purpose: str) -> dict[str, Any]:
    answer = client.post("/second-factor/key/options", data={"purpose": purpose, "password": PASSWORD})
    found: dict[str, Any] = answer.get_json()["publicKey"]
    return found


def set_up(site: Site, key: SoftwareKey, name: str = "clerk") -> FlaskClient:
    client = password_given(site, name)
    answer = client.post("/second-factor/key", data={"answer": key.made(options(client, "set up")), "label": "blue"})
    assert "Recovery codes" in answer.get_data(as_text=True)
    return client


def give(client: FlaskClient, answer: str) -> int:
    return client.post("/second-factor/key/give", data={"answer": answer, "back": "/requests/1"}).status_code


@pytest.fixture
def key(site: Site) -> SoftwareKey:
    """A key of the clerk."""
    made = SoftwareKey()
    set_up(site, made)
    return made


def test_a_key_is_set_up_and_signs_in(site: Site, key: SoftwareKey) -> None:
    """OWASP ASVS 5.0, 6.3.3."""
    client = password_given(site, "clerk")
    assert client.get("/requests/1").headers["Location"] == "/second-factor/"
    assert give(client, key.signed(options(client, "give"))) == 303
    assert client.get("/requests/1").status_code == 200
    with site.database.read() as session:
        factor = session.query(Factor).one()
        assert (factor.kind, factor.label, factor.counter) == ("key", "blue", 1)
        assert session.query(LedgerEntry).filter_by(event="second_factor_set_up").count() == 1


def test_the_challenge_is_ours_new_and_counts_once(site: Site, key: SoftwareKey) -> None:
    client = password_given(site, "clerk")
    first, second = options(client, "give"), options(client, "give")
    assert first["challenge"] != second["challenge"]
    assert give(client, key.signed(first)) == 403
    answer = key.signed(options(client, "give"))
    assert give(client, answer) == 303
    again = password_given(site, "clerk")
    assert give(again, answer) == 403, "nothing was asked of the key in this sign-in"
    options(again, "give")
    assert give(again, answer) == 403


def test_what_a_key_signed_for_another_page_is_worth_nothing(site: Site, key: SoftwareKey) -> None:
    """A page that looks like ours passes our challenge on; the browser says where it was (WebAuthn level 2, 13.4.9)."""
    client = password_given(site, "clerk")
    key.origin = "https://localhost.elsewhere.example"
    assert give(client, key.signed(options(client, "give"))) == 403
    key.origin, key.domain = "http://localhost", "elsewhere.example"
    assert give(client, key.signed(options(client, "give"))) == 403


def test_a_key_that_nobody_touched_is_refused(site: Site, key: SoftwareKey) -> None:
    client = password_given(site, "clerk")
    assert give(client, key.signed(options(client, "give"), touched=False)) == 403


def test_a_key_whose_count_goes_back_was_copied(site: Site, key: SoftwareKey) -> None:
    """WebAuthn level 2, 7.2, step 21."""
    client = password_given(site, "clerk")
    key.count = 40
    assert give(client, key.signed(options(client, "give"))) == 303
    copy = password_given(site, "clerk")
    key.count = 17
    answer = copy.post("/second-factor/key/give", data={"answer": key.signed(options(copy, "give"))})
    assert "there may be a copy" in answer.get_data(as_text=True)
    assert copy.get("/requests/1").status_code == 303


def test_the_key_of_another_account_is_refused(site: Site, key: SoftwareKey) -> None:
    other = SoftwareKey()
    set_up(site, other, "mail_room")
    client = password_given(site, "clerk")
    assert give(client, other.signed(options(client, "give"))) == 403


def test_a_key_is_set_up_once(site: Site, key: SoftwareKey) -> None:
    client = password_given(site, "mail_room")
    answer = client.post("/second-factor/key", data={"answer": key.made(options(client, "set up"))})
    assert "set up already" in answer.get_data(as_text=True)


def test_a_key_is_asked_to_be_set_up_only_with_the_password(site: Site) -> None:
    """OWASP ASVS 5.0, 7.5.1."""
    client = password_given(site, "clerk")
    answer = client.post("/second-factor/key/options", data={"purpose": "set up", "password": "not it"})
    assert answer.get_json() == {"trouble": "The password is not right. Nothing was changed."}
    unasked = SoftwareKey().made({"challenge": "AAAA"})
    assert client.post("/second-factor/key", data={"answer": unasked}).status_code == 400


def test_half_a_sign_in_sets_no_key_up_beside_the_one_there_is(site: Site, key: SoftwareKey) -> None:
    thief = password_given(site, "clerk")
    assert thief.post("/second-factor/key/options", data={"purpose": "set up"}).status_code == 403
    assert thief.post("/second-factor/key", data={"answer": "{}"}).status_code == 403
    assert give(thief, SoftwareKey().made(options(thief, "give"))) == 403


@pytest.mark.parametrize(
    "nonsense", ["", "[]", "{", "null", '{"id": 1}', '{"rawId": "AA", "response": {}}', "9" * 30_000]
)
def test_what_no_key_would_say_is_refused_and_breaks_nothing(site: Site, key: SoftwareKey, nonsense: str) -> None:
    client = password_given(site, "clerk")
    options(client, "give")
    assert give(client, nonsense) == 403
    other = password_given(site, "mail_room")
    options(other, "set up")
    assert other.post("/second-factor/key", data={"answer": nonsense}).status_code == 400


def test_wrong_keys_are_slowed_down_as_wrong_passwords_are(site: Site, key: SoftwareKey) -> None:
    client = password_given(site, "clerk")
    for _ in range(5):
        options(client, "give")
        assert give(client, "{}") == 403
    assert give(client, key.signed(options(client, "give"))) == 403


@pytest.mark.parametrize(
    ("origin", "can"),
    [
        ("https://ballots.fennmark.example", True),
        ("http://localhost:8000", True),
        ("http://127.0.0.1:8000", False),
        ("https://[2001:db8::1]", False),
    ],
)
def test_keys_are_offered_where_the_site_has_a_name(origin: str, can: bool) -> None:
    """WebAuthn level 2, 5.1.2: the relying party is a domain."""
    assert security_keys.can_be_used(security_keys.Place("Fennmark", origin)) is can


def test_without_what_keys_need_codes_are_still_there(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(security_keys, "find_spec", lambda _name: None)
    client = password_given(site, "clerk")
    page = client.get("/second-factor/").get_data(as_text=True)
    assert "security_key.js" not in page
    assert "authenticator app" in page
    assert client.post("/second-factor/key/options", data={"purpose": "give"}).status_code == 404


def test_a_key_that_answers_for_https_is_refused_where_there_is_none(site: Site) -> None:
    client = password_given(site, "clerk")
    made = SoftwareKey(origin="https://localhost").made(options(client, "set up"))
    assert client.post("/second-factor/key", data={"answer": made}).status_code == 400


@given(
    where=st.sampled_from(["authenticatorData", "clientDataJSON", "signature"]),
    spot=st.floats(0, 1, exclude_max=True),
    flipped=st.integers(1, 255),
    kept=st.floats(0.5, 1),
)
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_bytes_that_were_changed_on_the_way_break_nothing(
    site: Site, key: SoftwareKey, where: str, spot: float, flipped: int, kept: float
) -> None:
    place = security_keys.Place("Fennmark", "http://localhost")
    with site.database.write() as session:
        row = session.query(SignIn).first()
        assert row is not None
        account = session.get_one(Account, row.account_id)
        found = Found(row.id, member_of(account), "code", "")
        answer = json.loads(key.signed(security_keys.ask(session, found, place, security_keys.GIVE)))
        raw = bytearray(websafe_decode(answer["response"][where]))
        at = int(spot * len(raw))
        raw[at] ^= flipped
        answer["response"][where] = websafe_encode(bytes(raw[: max(at + 1, int(kept * len(raw)))]))
        with pytest.raises(security_keys.KeyRefused):
            security_keys.give(session, found, place, json.dumps(answer), at=site.clock.at)
        account.failures, account.locked_until = 0, None
