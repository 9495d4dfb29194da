from __future__ import annotations

import hashlib
from datetime import timedelta

from replacements.store.tables import LedgerEntry, Look, RawMail
from tests.web.invented_office import RAW, RULES, Site, message


def test_pictures_stay_closed_until_a_reason_is_given_which_is_recorded(site: Site) -> None:
    client = site.client("clerk")
    assert "<img" not in client.get("/requests/1").get_data(as_text=True)
    assert client.get("/messages/1/pictures/0").status_code == 403
    client.post("/messages/1/pictures", data={"why": " "})
    assert client.get("/messages/1/pictures/0").status_code == 403
    client.post("/messages/1/pictures", data={"why": "Are the edge marks torn?"})
    picture = client.get("/messages/1/pictures/0")
    assert picture.status_code == 200
    assert picture.mimetype == "image/png"
    with site.database.read() as session:
        look = session.query(Look).filter_by(what="picture").one()  # the request was opened before
        assert (look.account, look.what, look.about, look.why) == (
            "clerk",
            "picture",
            "message 1",
            "Are the edge marks torn?",
        )


def test_one_persons_reason_opens_nothing_for_another_and_not_for_long(site: Site) -> None:
    client = site.client("clerk")
    client.post("/messages/1/pictures", data={"why": "Are the edge marks torn?"})
    assert site.see("supervisor", "/messages/1/pictures/0").status_code == 403
    site.clock.at += timedelta(minutes=16)
    assert client.get("/messages/1/pictures/0").status_code == 403


def test_what_only_claims_to_be_a_picture_is_not_shown_as_one(site: Site) -> None:
    script = b"PHN2Zz48c2NyaXB0PmFsZXJ0KDEpPC9zY3JpcHQ+"
    with site.database.write() as session:
        session.add(message(3, subject="", sender="ottoline@post.example", name="", kinds=[]))
        session.flush()
        raw = RAW.replace(b"iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJ", script)
        session.add(RawMail(message_id=3, raw=raw))
    client = site.client("clerk")
    client.post("/messages/3/pictures", data={"why": "Are the edge marks torn?"})
    assert client.get("/messages/3/pictures/0").status_code == 404
    assert "not shown here" in client.get("/messages/3/pictures").get_data(as_text=True)


def test_the_raw_message_is_a_download_with_a_reason(site: Site) -> None:
    answer = site.client("clerk").post("/messages/1/raw", data={"why": "Headers look odd"})
    assert answer.headers["Content-Disposition"] == 'attachment; filename="message-1.eml"'
    assert b"Nightjar" in answer.data
    with site.database.read() as session:
        assert session.query(Look).one().what == "raw message"


def test_a_name_that_is_searched_for_is_in_no_address_and_in_no_record(site: Site) -> None:
    client = site.client("clerk")
    assert client.get("/requests/search").status_code in (404, 405)
    found = client.post("/requests/search", data={"wanted": "brackw"})
    assert found.status_code == 200
    assert 'href="/requests/1"' in found.get_data(as_text=True)
    with site.database.read() as session:
        look = session.query(Look).one()
        assert "brackw" not in (look.what + look.about + look.why).lower()


def test_a_percent_sign_finds_nobody_in_particular(site: Site) -> None:
    found = site.client("clerk").post("/requests/search", data={"wanted": "%"})
    assert "Nothing was found" in found.get_data(as_text=True)


def test_a_supervisor_records_which_official_adopts_which_rules(unadopted_site: Site) -> None:
    client = unadopted_site.client("supervisor")
    sha256 = hashlib.sha256(RULES.encode()).hexdigest()
    assert sha256 in client.get("/rules/").get_data(as_text=True)
    form = {"official": "Registrar Hollis Penn", "sha256": sha256, "read": "yes"}
    for spoiled in ({**form, "official": " "}, {**form, "read": ""}, {**form, "sha256": "0" * 64}):
        client.post("/rules/adopt", data=spoiled)
        assert "nothing is voided" in client.get("/").get_data(as_text=True)
    client.post("/rules/adopt", data=form)
    page = client.get("/rules/").get_data(as_text=True)
    assert "Registrar Hollis Penn" in page
    assert "nothing is voided" not in page


def test_the_ledger_page_says_that_the_chain_holds(site: Site) -> None:
    page = site.client("observer").post("/ledger/verify").get_data(as_text=True)
    assert "The chain holds" in page


def test_at_the_return_desk_loading_the_page_again_takes_nothing_in(site: Site) -> None:
    client = site.client("return_desk")
    assert client.post("/return-desk/", data={"number": "5000018"}).status_code == 303
    for _ in range(3):
        assert "LIVE – accept for checking" in client.get("/return-desk/").get_data(as_text=True)
    with site.database.read() as session:
        assert session.query(LedgerEntry).filter_by(event="returned").count() == 1


def test_only_looking_at_the_return_desk_records_nothing(site: Site) -> None:
    client = site.client("return_desk")
    client.post("/return-desk/", data={"number": "5000026", "look": "1"})
    page = client.get("/return-desk/").get_data(as_text=True)
    assert "STOP" in page
    assert "nothing was recorded" in page
    with site.database.read() as session:
        assert session.query(LedgerEntry).filter_by(by="return_desk").count() == 0


def test_something_that_is_no_number_at_all_is_not_one_of_ours(site: Site) -> None:
    client = site.client("return_desk")
    for typed in ("<b>", "9" * 5000, "", "'; DROP TABLE ballots; --"):
        client.post("/return-desk/", data={"number": typed})
        assert "NOT ONE OF OURS" in client.get("/return-desk/").get_data(as_text=True)


def test_a_supervisor_makes_an_account_that_can_sign_in(site: Site) -> None:
    client = site.client("supervisor")
    form = {"name": "noor", "full_name": "Noor Vale", "password": "six boats on a grey pond", "roles": ["clerk"]}
    short = client.post("/people/", data={**form, "password": "too short"})
    assert short.status_code == 400
    assert "15 are needed" in short.get_data(as_text=True)
    assert client.post("/people/", data=form).status_code == 303
    signed = site.client().post("/sign-in", data={"name": "noor", "password": form["password"]})
    assert signed.headers["Location"] == "/"


def test_the_last_supervisor_stays(site: Site) -> None:
    page = site.client("supervisor").post("/people/2/off", follow_redirects=True).get_data(as_text=True)
    assert "last active supervisor" in page


def test_who_changed_whose_account_is_on_the_ledger_and_no_password_is(site: Site) -> None:
    client = site.client("supervisor")
    client.post("/people/1/password", data={"password": "six boats on a grey pond"})
    client.post("/people/1/roles", data={"roles": ["clerk", "mail_room"]})
    client.post("/people/1/roles", data={"roles": ["observer", "mail_room"]})  # refused
    client.post("/people/1/off")
    with site.database.read() as session:
        entries = session.query(LedgerEntry).filter(LedgerEntry.event.startswith("account_")).all()
        assert [e.event for e in entries] == ["account_password_set", "account_roles_changed", "account_switched_off"]
        assert all(e.by == "supervisor" and '"account":"clerk"' in e.details for e in entries)
        assert "boats" not in "".join(e.details for e in entries)
    assert client.post("/people/999/off").status_code == 404
    assert "The chain holds" in client.post("/ledger/verify").get_data(as_text=True)
    assert "Ledger and record say the same" in client.get("/week/2026-09-28/2026-10-04/places").get_data(as_text=True)
