from __future__ import annotations

from io import BytesIO
from zipfile import ZipFile

import pytest
from pypdf import PdfReader
from werkzeug.test import TestResponse

from replacements.store.tables import Request
from tests.web.invented_office import PERSONAL, Site
from tests.web.test_who_may_open_what import GET

OBSERVED = sorted(address for address, roles in GET.items() if "observer" in roles)


@pytest.mark.parametrize("address", OBSERVED)
def test_an_observers_page_holds_no_name_address_birth_date_or_word_of_a_voter(site: Site, address: str) -> None:
    page = words_in(site.see("observer", address))
    never = (*PERSONAL, "1951-02-17", "1983-11-30")  # nor in the form that the roll has them in
    assert [word for word in never if word.lower() in page.lower()] == []


def words_in(answer: TestResponse) -> str:
    """What a person reads in an answer: a page or table as it is, a PDF's text, the tables of a ZIP file."""
    if answer.mimetype == "application/pdf":
        return "\n".join(page.extract_text() for page in PdfReader(BytesIO(answer.data)).pages)
    if answer.mimetype == "application/zip":
        with ZipFile(BytesIO(answer.data)) as files:
            return "\n".join(files.read(name).decode() for name in files.namelist())
    return answer.get_data(as_text=True)


def test_the_same_words_are_there_for_a_clerk(site: Site) -> None:
    page = site.see("clerk", "/requests/1").get_data(as_text=True)
    assert [word for word in PERSONAL if word not in page] == []
    assert "<mark>coffee went all over</mark>" in page


def test_an_observer_sees_how_the_evidence_weighs_without_seeing_whose_it_is(site: Site) -> None:
    page = site.see("observer", "/requests/1").get_data(as_text=True)
    assert "Candidate A" in page
    assert "+14.2" in page
    assert "reasons.spoiled" in page


def test_an_observer_finds_a_request_by_number_but_nobody_by_name(site: Site) -> None:
    client = site.client("observer")
    assert client.post("/requests/search", data={"wanted": "1"}).status_code == 303
    found = client.post("/requests/search", data={"wanted": "brackwater"}).get_data(as_text=True)
    assert "Nothing was found" in found
    by_ballot = client.post("/requests/search", data={"wanted": "80000019"}).get_data(as_text=True)
    assert "Request 2" in by_ballot
    assert "Ottoline" not in by_ballot


def test_the_return_desk_shows_no_voter(site: Site) -> None:
    client = site.client("return_desk")
    client.post("/return-desk/", data={"number": "5000018"})
    page = client.get("/return-desk/").get_data(as_text=True)
    assert "LIVE" in page
    assert [word for word in PERSONAL if word in page] == []


def test_the_health_page_tells_the_return_desk_no_address(site: Site) -> None:
    page = site.see("return_desk", "/health").get_data(as_text=True)
    assert "mailbox full" not in page


def test_an_observer_never_sees_a_note_about_a_voter(site: Site) -> None:
    with site.database.write() as session:
        session.get_one(Request, 2).decision_note = "Ottoline's brother says so"
    assert "brother" not in site.see("observer", "/requests/2").get_data(as_text=True)
