"""An office with hundreds of accounts: some of them at a time, each found by name and shown again after a change."""

from __future__ import annotations

import re

import pytest

from replacements.people.permissions import Role
from replacements.store.tables import Account
from replacements.web.pages.people import A_PAGE
from tests.web.invented_office import NOW, Site

MANY = 3 * A_PAGE
_NAME = re.compile(r'<th scope="row">([^<]+)')


@pytest.fixture
def many(site: Site) -> Site:
    with site.database.write() as session:
        for n in range(MANY):
            full_name = "Thị Hương Nguyễn" if n == 140 else ""
            row = {"name": f"clerk.{n:03}", "full_name": full_name, "password_hash": "x", "roles": ["clerk"]}
            session.add(Account(**row, active=n != 3, created_at=NOW))
    return site


def names(site: Site, address: str) -> list[str]:
    return _NAME.findall(site.see("supervisor", address).get_data(as_text=True))


def test_each_account_is_on_one_page_those_switched_off_last(many: Site) -> None:
    pages = [names(many, f"/people/?page={number}") for number in range(1, 5)]
    assert [len(page) for page in pages] == [A_PAGE, A_PAGE, A_PAGE, len(Role)]
    seen = [name for page in pages for name in page]
    assert sorted(seen) == sorted([*(f"clerk.{n:03}" for n in range(MANY)), *Role])
    assert seen[-1] == "clerk.003"
    page = many.see("supervisor", "/people/?page=2").get_data(as_text=True)
    assert f"{A_PAGE + 1} to {2 * A_PAGE} of {MANY + len(Role)}" in page
    assert len(page) < 200_000


@pytest.mark.parametrize("wanted", ["clerk.140", "K.14", "Hương"])
def test_an_account_of_another_page_is_found_by_a_part_of_its_name(many: Site, wanted: str) -> None:
    assert "clerk.140" not in names(many, "/people/")
    assert "clerk.140" in names(many, f"/people/?name={wanted}")


def test_signs_of_the_database_find_nobody_in_particular(many: Site) -> None:
    assert names(many, "/people/?name=%") == []
    assert set(names(many, "/people/?name=_")) == {Role.MAIL_ROOM, Role.RETURN_DESK}
    assert "0 accounts fit" in many.see("supervisor", "/people/?name=%").get_data(as_text=True)


def test_after_a_change_the_account_is_shown_again_wherever_it_stands(many: Site) -> None:
    with many.database.read() as session:
        number = session.query(Account).filter_by(name="clerk.140").one().id
    answer = many.client("supervisor").post(f"/people/{number}/roles", data={"roles": ["mail_room"]})
    assert answer.headers["Location"] == f"/people/?account={number}"
    page = many.see("supervisor", answer.headers["Location"]).get_data(as_text=True)
    assert '<tr aria-current="true">\n    <th scope="row">clerk.140' in page
    assert names(many, "/people/?account=999") == names(many, "/people/")


def test_the_list_of_requests_keeps_the_names_of_hundreds_within_a_small_part_of_the_page(many: Site) -> None:
    page = many.see("supervisor", "/requests/").get_data(as_text=True)
    whose = page.partition('<nav aria-label="Whose">')[2].partition("</nav>")[0]
    assert '<ul class="filters small many" tabindex="0">' in whose
    assert "clerk.140" in whose
