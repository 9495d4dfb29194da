"""How the service is doing: in one word for everybody, part by part for the staff, as figures for who has the token."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import text

from replacements.people.permissions import Role
from replacements.store.tables import Condition, Message, Reply
from tests.web.invented_office import PERSONAL, Site

TOKEN = "a-token-that-nobody-guesses-4711"


def put_in_order(site: Site) -> None:
    """End what is behind in the invented office."""
    with site.database.write() as session:
        for name in ("mailbox", "reconciliation"):
            session.merge(Condition(name=name, ok=True, text="Well.", at=site.clock.at))
        for reply in session.query(Reply).filter_by(state="failed"):
            reply.state = "cancelled"


def asked(site: Site, token: str, header: str | None) -> tuple[int, str]:
    """Ask for the figures of a service whose settings name this token."""
    here = replace(site, settings=replace(site.settings, metrics_token=token))
    headers = {} if header is None else {"Authorization": header}
    answer = here.client().get("/metrics", headers=headers)
    return answer.status_code, answer.get_data(as_text=True)


def test_everybody_is_told_working_or_behind_and_nothing_else(site: Site) -> None:
    page = site.see(None, "/health").get_data(as_text=True)
    assert "The service is behind" in page
    assert not any(word in page for word in ("mail server", "Mailbox", "ledger", *PERSONAL))
    put_in_order(site)
    page = site.see(None, "/health").get_data(as_text=True)
    assert "The service is working." in page


def test_the_staff_see_every_part_in_words(site: Site) -> None:
    page = site.see("clerk", "/health").get_data(as_text=True)
    assert "Something is behind" in page
    for words in ("The mail server does not answer.", "1 reply could not be sent", "closes in 3 hours"):
        assert words in page
    put_in_order(site)
    assert "Everything works" in site.see("clerk", "/health").get_data(as_text=True)


def test_a_schema_that_is_not_this_programs_takes_no_figure_off_the_page(site: Site) -> None:
    def told() -> tuple[str, str]:
        page = site.see("clerk", "/health").get_data(as_text=True)
        return page.partition('id="jobs"')[2].partition("</section>")[0], page.partition('id="messages"')[2]

    before = told()
    assert "The mail server does not answer." in before[0]
    with site.database.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0001'"))
    assert "has the schema 0001" in site.see("clerk", "/health").get_data(as_text=True)
    assert told() == before


@pytest.mark.parametrize("role", list(Role))
def test_no_part_says_anything_about_a_voter(site: Site, role: Role) -> None:
    page = site.see(role, "/health").get_data(as_text=True)
    assert not any(word in page for word in PERSONAL)


def test_a_machine_is_told_a_status_and_nothing_else(site: Site) -> None:
    answer = site.see(None, "/health.json")
    assert (answer.status_code, answer.get_json(force=True)) == (200, {"status": "warn"})
    assert answer.content_type == "application/health+json"
    put_in_order(site)
    assert site.see(None, "/health.json").get_json(force=True) == {"status": "pass"}


def test_a_database_of_another_schema_is_told_to_machines_as_a_failure(site: Site) -> None:
    with site.database.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    answer = site.see(None, "/health.json")
    assert (answer.status_code, answer.get_json(force=True)) == (503, {"status": "fail"})


def test_machines_are_answered_while_the_database_is_away(site: Site) -> None:
    client = site.client()
    with site.database.engine.begin() as connection:
        for table in ("sign_ins", "adopted_rules", "alembic_version"):
            connection.execute(text(f"ALTER TABLE {table} RENAME TO away_{table}"))
    answer = client.get("/health.json")
    assert (answer.status_code, answer.get_json(force=True)) == (503, {"status": "fail"})


def test_strangers_who_ask_again_and_again_do_not_keep_the_database_busy(site: Site) -> None:
    client = site.client()
    assert client.get("/health.json").get_json(force=True) == {"status": "warn"}
    put_in_order(site)
    assert client.get("/health.json").get_json(force=True) == {"status": "warn"}
    site.clock.at += timedelta(seconds=6)
    assert client.get("/health.json").get_json(force=True) == {"status": "pass"}


def test_there_are_no_figures_until_a_token_is_set(site: Site) -> None:
    assert asked(site, "", None)[0] == 404
    assert asked(site, "", "Bearer ")[0] == 404


@pytest.mark.parametrize(
    "header", [None, "", "Bearer", "Bearer wrong", f"Basic {TOKEN}", f"Bearer {TOKEN}x", "Bearer é"]
)
def test_who_does_not_show_the_token_is_told_no_figure(site: Site, header: str | None) -> None:
    code, page = asked(site, TOKEN, header)
    assert code == 401
    assert "replacements_" not in page


@pytest.mark.parametrize("role", list(Role))
def test_a_sign_in_does_not_stand_for_the_token(site: Site, role: Role) -> None:
    here = replace(site, settings=replace(site.settings, metrics_token=TOKEN))
    assert here.see(role, "/metrics").status_code == 401


def test_who_shows_the_token_is_told_figures_that_a_program_reads(site: Site) -> None:
    with site.database.write() as session:
        at = site.clock.at
        session.add(Message(fingerprint="x", state="stored", arrived_at=at, stored_at=at))
    code, page = asked(site, TOKEN, f"Bearer {TOKEN}")
    assert code == 200
    samples = {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(page)
        for sample in family.samples
    }
    assert samples["replacements_messages", "stored"] == 1
    assert samples["replacements_replies", "failed"] == 1
    assert samples["replacements_messages", "read"] == 2
    assert samples["replacements_mailbox_up", "mailbox"] == 0
    assert not any(word in page for word in PERSONAL)
