"""What nobody types by mistake, and somebody types on purpose: an answer in plain words, never a broken page."""

from __future__ import annotations

from pathlib import Path

import pytest

from replacements.people.passwords import hashed
from replacements.settings import Settings
from replacements.store.database import Database
from replacements.store.tables import RawMail
from tests.web.invented_office import PASSWORD, RAW, Clock, Site, add_accounts, message, seed

HUGE = 10**22


@pytest.mark.parametrize(
    "address",
    [
        f"/requests/{HUGE}",
        f"/requests/{2**31}",
        f"/mailings/{HUGE}",
        f"/mailings/{HUGE}/labels.pdf",
        f"/messages/{HUGE}/pictures",
        "/week/0001-01-01",
        "/week/9999-12-31",
        "/week/9999-12-25/9999-12-31/places",
        "/week/2026-10-04/2026-09-28/proposals",
        "/week/?from=9999-12-31",
    ],
)
def test_a_number_or_a_day_that_cannot_be_is_not_there(site: Site, address: str) -> None:
    assert site.client("supervisor").get(address, follow_redirects=True).status_code == 404


@pytest.mark.parametrize("address", [f"/requests/?page={HUGE}", f"/reissued/?page={HUGE}", "/requests/?page=-3"])
def test_a_leaf_far_behind_the_last_one_is_empty(site: Site, address: str) -> None:
    assert site.client("supervisor").get(address).status_code == 200


@pytest.mark.parametrize(
    ("address", "form", "answer"),
    [
        (f"/requests/{HUGE}/approve", {"version": "1"}, 404),
        (f"/requests/{HUGE}/take-back", {"version": "1", "note": "x"}, 404),
        (f"/mailings/{HUGE}/close", {}, 404),
        (f"/packets/{HUGE}/pull", {"note": "x"}, 404),
        (f"/people/{HUGE}/off", {}, 404),
        ("/requests/1/approve", {"version": str(HUGE)}, 303),
        ("/mailings/1/sign", {"picked": str(HUGE), "labelled": "1", "sealed": "1"}, 303),
        ("/mailings/1/labels", {"sheet": str(HUGE)}, 409),
        ("/stock", {"style": "F-2", "kind": "lent", "number": "1"}, 303),
        ("/stock", {"style": "F-2", "on_hand": str(HUGE)}, 303),
    ],
)
def test_a_form_with_a_number_that_cannot_be_changes_nothing(
    site: Site, address: str, form: dict[str, str], answer: int
) -> None:
    assert site.client("supervisor").post(address, data=form).status_code == answer


def test_a_character_that_no_keyboard_has_is_refused(postgres_database: Database, tmp_path: Path) -> None:
    add_accounts(postgres_database, hashed(PASSWORD))
    seed(postgres_database)
    settings = Settings(data=tmp_path, database="", mailbox="", outbox="", secret_file=tmp_path / "secret")
    site = Site(postgres_database, Clock(), settings)
    assert site.client().post("/sign-in", data={"name": "cl\0erk", "password": PASSWORD}).status_code == 400
    client = site.client("supervisor")
    assert client.post("/requests/search", data={"wanted": "brack\0"}).status_code == 400
    assert client.get("/requests/?state=%00").status_code == 400
    assert client.post("/requests/1/decline", data={"version": "1", "note": "no\0"}).status_code == 400
    assert client.post("/messages/1/raw", data={"why": "because\0"}).status_code == 400


@pytest.mark.parametrize(
    "raw",
    [
        b"",
        b"From: a@post.example\nContent-Type: image/png; name=" + b"(" * 5000 + b"\n\nabc",
        b"From: a@post.example\nContent-Type: " + b"(" * 5000 + b"\n\nabc",
        b'From: a@post.example\nContent-Type: multipart/mixed; boundary="x"\n\n'
        + b'--x\nContent-Type: message/rfc822\n\nContent-Type: multipart/mixed; boundary="x"\n\n' * 3000,
    ],
)
def test_a_message_built_to_break_the_reader_still_has_its_page(site: Site, raw: bytes) -> None:
    with site.database.write() as session:
        session.add(message(77, subject="x", sender="a@post.example", name="", kinds=[]))
        session.flush()
        session.add(RawMail(message_id=77, raw=raw))
    client = site.client("clerk")
    assert client.post("/messages/77/pictures", data={"why": "to help the voter"}).status_code == 303
    assert client.get("/messages/77/pictures").status_code == 200
    assert client.get("/messages/77/pictures/0").status_code in (200, 404)


def test_a_picture_in_an_attached_message_is_shown_as_well(site: Site) -> None:
    around = (
        b'From: a@post.example\nContent-Type: multipart/mixed; boundary="y"\n\n--y\nContent-Type: message/rfc822\n\n'
    )
    with site.database.write() as session:
        session.add(message(77, subject="x", sender="a@post.example", name="", kinds=[]))
        session.flush()
        session.add(RawMail(message_id=77, raw=around + RAW + b"\n--y--\n"))
    client = site.client("clerk")
    client.post("/messages/77/pictures", data={"why": "to help the voter"})
    assert client.get("/messages/77/pictures/0").mimetype == "image/png"
