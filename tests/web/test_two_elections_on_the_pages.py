"""The pages where two elections are open: a plain chooser that addresses keep, and the choice on a request's page."""

from __future__ import annotations

import re

import pytest

from replacements.requests import office
from replacements.rules.office import sha256_of
from replacements.store.tables import Ballot, Mailing, Request
from tests.web.invented_office import NOW, RULES, Site
from tests.web.two_elections import AUTUMN, RUNOFF, RUNOFF_BALLOT, RUNOFF_RULES, undecided, with_a_runoff

CHOOSER = '<nav aria-label="Elections">'
OF_ONE = ("/", "/mailing", "/reissued/", "/week/", "/rules/")


def page(site: Site, role: str, address: str) -> str:
    answer = site.see(role, address)
    assert answer.status_code == 200
    return answer.get_data(as_text=True)


@pytest.mark.parametrize("address", [*OF_ONE, "/requests/", "/requests/1", "/mailings/1"])
def test_with_one_election_no_page_speaks_of_choosing(site: Site, address: str) -> None:
    text = page(site, "supervisor", address)
    assert CHOOSER not in text
    assert "election=" not in text


@pytest.mark.parametrize("address", OF_ONE)
def test_a_page_of_one_election_shows_the_next_one_and_offers_the_other(site: Site, address: str) -> None:
    text = page(with_a_runoff(site), "supervisor", address)
    chooser = text.split(CHOOSER)[1].split("</nav>")[0]
    current = re.search(r'<a href="([^"]+)" aria-current="true">([^<]+)<', chooser)
    assert current is not None
    assert current[2].startswith("Runoff election")
    assert f"election={AUTUMN}" in chooser


@pytest.mark.parametrize("address", OF_ONE)
def test_the_election_that_an_address_names_is_shown_and_its_links_keep_it(site: Site, address: str) -> None:
    with_a_runoff(site)
    text = page(site, "supervisor", f"{address}?election={AUTUMN}")
    chooser = text.split(CHOOSER)[1].split("</nav>")[0]
    assert re.search(r'aria-current="true">Autumn election', chooser)
    menu = text.split('<nav aria-label="Pages">')[1].split("</nav>")[0]
    assert menu.count(f"election={AUTUMN}") == menu.count("<a ")


def test_an_election_that_is_not_on_record_is_not_found(site: Site) -> None:
    assert site.see("clerk", "/requests/?election=2020-01-01-nothing").status_code == 404


def test_the_list_of_requests_shows_all_elections_until_one_is_chosen(site: Site) -> None:
    with_a_runoff(site)
    with site.database.write() as session:
        session.get_one(Request, 1).election_id = RUNOFF
    everything = page(site, "clerk", "/requests/?state=all")
    assert 'aria-current="true">All elections' in everything
    assert 'href="/requests/1"' in everything
    assert 'href="/requests/2"' in everything
    runoff = page(site, "clerk", f"/requests/?state=all&election={RUNOFF}")
    assert f'href="/requests/1?election={RUNOFF}"' in runoff
    assert 'href="/requests/2' not in runoff


def test_a_request_is_shown_by_the_rules_of_its_own_election(site: Site) -> None:
    with_a_runoff(site)
    text = page(site, "clerk", "/requests/1")
    assert "Autumn election, Tue, Nov 3, 2026" in text
    assert CHOOSER not in text
    assert "5000018" in text
    assert RUNOFF_BALLOT not in text


def test_a_clerk_chooses_the_election_on_the_requests_page(site: Site) -> None:
    with_a_runoff(site)
    undecided(site)
    text = page(site, "clerk", "/requests/1")
    assert "Which election is this about?" in text
    assert "election not decided" in text
    clerk = site.client("clerk")
    answer = clerk.post("/requests/1/election", data={"version": "1", "chosen": RUNOFF}, follow_redirects=True)
    assert "Judged by the rules of the election that you chose" in answer.get_data(as_text=True)
    with site.database.read() as session:
        request = session.get_one(Request, 1)
        assert (request.election_id, request.judged["election_by"], request.version) == (RUNOFF, "person", 2)
        assert {session.get_one(Ballot, n).state for n in ("5000018", RUNOFF_BALLOT)} == {"issued"}


def test_a_choice_of_nothing_is_said_so_and_changes_nothing(site: Site) -> None:
    with_a_runoff(site)
    undecided(site)
    answer = site.client("clerk").post("/requests/1/election", data={"version": "1"}, follow_redirects=True)
    assert "Choose the election that this request is about" in answer.get_data(as_text=True)
    with site.database.read() as session:
        assert session.get_one(Request, 1).version == 1


def test_before_the_choice_the_page_refuses_to_void_a_ballot(site: Site) -> None:
    with_a_runoff(site)
    undecided(site)
    form = {"version": "1", "action": "reissue", "note": "she called"}
    answer = site.client("clerk").post("/requests/1/change", data=form, follow_redirects=True)
    assert "Choose first which election" in answer.get_data(as_text=True)
    with site.database.read() as session:
        assert {session.get_one(Ballot, n).state for n in ("5000018", RUNOFF_BALLOT)} == {"issued"}


def test_the_return_desk_knows_ballots_of_both_elections_and_names_which(site: Site) -> None:
    with_a_runoff(site)
    desk = site.client("return_desk")
    for number, name in ((RUNOFF_BALLOT, "Runoff election"), ("5000018", "Autumn election")):
        text = desk.post("/return-desk/", data={"number": number}, follow_redirects=True).get_data(as_text=True)
        assert "LIVE" in text
        assert f"Election: {name}" in text
    with site.database.read() as session:
        assert {session.get_one(Ballot, n).state for n in ("5000018", RUNOFF_BALLOT)} == {"returned"}


def test_with_one_election_the_return_desk_names_none(site: Site) -> None:
    desk = site.client("return_desk")
    text = desk.post("/return-desk/", data={"number": "5000018"}, follow_redirects=True).get_data(as_text=True)
    assert "LIVE" in text
    assert "Election: " not in text


def test_stock_is_counted_for_the_election_of_the_page(site: Site) -> None:
    with_a_runoff(site)
    text = page(site, "mail_room", f"/mailing?election={AUTUMN}")
    actions = re.findall(r'action="(/stock[^"]*)"', text)
    assert actions
    assert all(action == f"/stock?election={AUTUMN}" for action in actions)
    default = page(site, "mail_room", "/mailing")
    assert f'action="/stock?election={RUNOFF}"' in default


def test_a_mailings_page_goes_by_its_own_election(site: Site) -> None:
    with_a_runoff(site)
    text = page(site, "mail_room", "/mailings/1")
    assert re.search(r'aria-current="true">Autumn election', text)
    assert f"/stock?election={AUTUMN}" in text
    with site.database.read() as session:
        assert session.get_one(Mailing, 1).election_id == AUTUMN


def test_a_mailing_to_sign_off_is_opened_under_its_own_election(site: Site) -> None:
    with_a_runoff(site)
    with site.database.write() as session:
        session.get_one(Mailing, 1).state = "closed"
    answer = site.see("mail_room", "/mailing")
    assert answer.status_code == 302
    assert answer.headers["Location"] == f"/mailings/1?election={AUTUMN}"
    assert site.see("mail_room", f"/mailing?election={RUNOFF}").status_code == 200


def test_an_address_of_a_mailing_goes_before_the_election_that_it_names_beside(site: Site) -> None:
    with_a_runoff(site)
    text = page(site, "mail_room", f"/mailings/1?election={RUNOFF}")
    assert re.search(r'aria-current="true">Autumn election', text)


def test_rules_that_are_only_loaded_can_be_read_and_adopted_beside_those_in_force(site: Site) -> None:
    with_a_runoff(site, adopted=False)
    boss = site.client("supervisor")
    assert CHOOSER not in boss.get("/requests/").get_data(as_text=True)  # one is open as yet
    text = boss.get(f"/rules/?election={RUNOFF}").get_data(as_text=True)
    assert "Loaded, not adopted" in text
    sha256 = sha256_of(RUNOFF_RULES)
    form = {"official": "Registrar Hollis Penn", "read": "yes", "sha256": sha256}
    boss.post(f"/rules/adopt?election={RUNOFF}", data=form)
    with site.database.read() as session:
        assert [force.election_id for force in office.offered(session, at=NOW)] == [RUNOFF, AUTUMN]


def test_newer_rules_wait_beside_those_in_force_until_they_are_adopted(site: Site) -> None:
    source = RULES.replace("months = 24", "months = 30")
    with site.database.write() as session:
        office.load(session, source, at=NOW)
    boss = site.client("supervisor")
    text = boss.get("/rules/").get_data(as_text=True)
    assert "Newer rules are loaded and wait for their adoption" in text
    assert "No official has adopted these rules" not in text
    boss.post("/rules/adopt", data={"official": "Registrar Penn", "read": "yes", "sha256": sha256_of(source)})
    assert "wait for their adoption" not in boss.get("/rules/").get_data(as_text=True)
    with site.database.read() as session:
        force = office.of(session, AUTUMN, at=NOW)
        assert force is not None
        assert force.rules.retention.months == 30


def test_a_closed_election_stays_readable_by_its_address(site: Site) -> None:
    with_a_runoff(site)
    with site.database.write() as session:
        office.close(session, RUNOFF, official="Registrar Penn", by="supervisor", at=NOW)
    assert CHOOSER not in page(site, "supervisor", "/mailing")
    rules = page(site, "supervisor", "/rules/")
    assert "Runoff election, Tue, Oct 20, 2026 (closed)" in rules
    assert "Closed by Registrar Penn" in page(site, "supervisor", f"/rules/?election={RUNOFF}")
    assert "Runoff election" in page(site, "supervisor", f"/week/?election={RUNOFF}")
