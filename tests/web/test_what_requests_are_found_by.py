"""Requests are searched by what is known by name, which the database keeps up itself, and by the words of letters."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from nacl.secret import SecretBox
from sqlalchemy import func, select, text

from replacements.requests import letter_words, searching
from replacements.requests.letter_words import _in
from replacements.store.sealing import Keys, seal
from replacements.store.tables import FoundBy, LetterWords, Message, PackedWords, Request, VoterRow
from tests.web.invented_office import Site
from tests.web.many_requests import FIRST, add_clear_cases


def _found(site: Site, wanted: str, below: int | None = None) -> list[int]:
    with site.database.read() as session:
        return [row.id for row, _ in searching.search(session, wanted, personal=True, below=below).rows]


def test_a_voter_whose_name_changes_on_the_roll_is_found_by_the_new_one(any_site: Site) -> None:
    add_clear_cases(any_site.database, 3)
    assert _found(any_site, "marl1001") == [FIRST + 1]
    with any_site.database.write() as session:
        session.get_one(VoterRow, f"V-{FIRST + 1}").last_name = "Okonjo-Ware"
    assert _found(any_site, "okonjo") == [FIRST + 1]
    with any_site.database.write() as session:  # the name as the writer put it stays in the letter's request
        session.get_one(Request, FIRST + 1).person = ""
    assert _found(any_site, "marl1001") == []


def test_a_request_that_is_given_to_another_voter_is_found_under_that_voter(any_site: Site) -> None:
    add_clear_cases(any_site.database, 3)
    with any_site.database.write() as session:
        session.get_one(Request, FIRST).voter_id = f"V-{FIRST + 2}"
    assert _found(any_site, f"{FIRST + 2} Sedge Row") == [FIRST + 2, FIRST]
    assert _found(any_site, f"{FIRST} Sedge Row") == []


def test_a_message_whose_subject_is_removed_is_not_found_by_it(any_site: Site) -> None:
    add_clear_cases(any_site.database, 2)
    with any_site.database.write() as session:
        session.get_one(Message, FIRST).subject = "Élan and GLORY of ballots"
    for wanted in ("élan and", "ÉLAN AND", "Élan", "glory OF"):
        assert _found(any_site, wanted) == [FIRST], wanted
    with any_site.database.write() as session:
        session.get_one(Message, FIRST).subject = ""
    assert _found(any_site, "élan and") == []


def test_every_request_is_put_down_and_no_sign_stands_for_another(any_site: Site) -> None:
    add_clear_cases(any_site.database, 3)
    with any_site.database.read() as session:
        requests = session.scalar(select(func.count()).select_from(Request))
        assert session.scalar(select(func.count()).select_from(FoundBy)) == requests
    assert _found(any_site, "1000_Sedge") == []
    assert _found(any_site, "Sedge%") == []


def _write(site: Site, texts: list[str]) -> None:
    add_clear_cases(site.database, len(texts))
    with site.database.write() as session:
        for number, said in enumerate(texts, start=FIRST):
            session.merge(LetterWords(message_id=number, words=letter_words.folded(said).encode()))


def _packets(site: Site) -> int:
    with site.database.read() as session:
        return session.scalar(select(func.count()).select_from(PackedWords)) or 0


def test_letters_are_found_by_their_words_before_and_after_they_are_packed(
    any_site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(letter_words, "A_PACKET", 60)
    texts = [f"커피 tea number {n} spilt" if n % 3 else f"Cà phê number {n} spilt" for n in range(12)]
    _write(any_site, texts)
    before = {wanted: _found(any_site, wanted) for wanted in ("커피", "cà  PHÊ", "number 7", "spilt", "nothing")}
    assert before["number 7"] == [FIRST + 7]
    assert before["cà  PHÊ"] == [FIRST + 9, FIRST + 6, FIRST + 3, FIRST]
    packed = letter_words.pack(any_site.database)
    assert packed > 6
    assert _packets(any_site) > 2
    assert letter_words.pack(any_site.database) == 0
    assert {wanted: _found(any_site, wanted) for wanted in before} == before


def test_where_the_key_of_the_letters_is_missing_a_search_says_so_and_what_to_do(site: Site) -> None:
    _write(site, ["coffee over it"])
    sealed = seal(b"coffee over it", Keys({"another-office-1": SecretBox(b"the key of another installation!")}))
    with site.database.write() as session:
        session.execute(text("UPDATE letter_words SET words = :words"), {"words": sealed})
    answer = site.client("clerk").post("/requests/search", data={"wanted": "coffee"})
    assert answer.status_code == 503
    page = answer.get_data(as_text=True)
    assert "Stored mail cannot be opened" in page
    assert "sealed with the key another-office-1" in page
    assert "no message is lost" in page


def test_what_stands_in_very_many_letters_is_found_page_by_page_and_none_twice(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(letter_words, "A_PACKET", 400)
    monkeypatch.setattr(searching, "_MANY", 20)
    _write(site, ["the coffee was hot"] * 120)
    letter_words.pack(site.database)
    seen, below = list[int](), None
    while page := _found(site, "coffee", below):
        seen += page
        below = page[-1]
    assert seen == list(range(FIRST + 119, FIRST - 1, -1))


def test_where_there_are_too_many_letters_the_newest_are_looked_through_and_it_is_said(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(letter_words, "A_PACKET", 400)
    monkeypatch.setattr(letter_words, "MOST_OPENED", 2)
    _write(site, [f"coffee and cake {n}" for n in range(200)])
    letter_words.pack(site.database)
    page = site.client("clerk").post("/requests/search", data={"wanted": "coffee"}).get_data(as_text=True)
    assert f'href="/requests/{FIRST + 199}"' in page
    assert "Only the words of the newest letters were looked through" in page
    assert _found(site, "cake 199") == [FIRST + 199]
    assert _found(site, "cake 3") == []


def test_words_that_are_removed_are_out_of_their_packet_and_the_others_stay(
    any_site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(letter_words, "A_PACKET", 60)
    _write(any_site, [f"word{n} of a letter" for n in range(9)])
    letter_words.pack(any_site.database)
    gone = [FIRST, FIRST + 2, FIRST + 8]
    with any_site.database.write() as session:
        assert letter_words.count(session, gone) == 3
        letter_words.forget(session, gone)
        assert letter_words.count(session, gone) == 0
    assert [_found(any_site, f"word{n} of") for n in range(9)] == [
        [] if FIRST + n in gone else [FIRST + n] for n in range(9)
    ]
    with any_site.database.write() as session:
        letter_words.forget(session, [FIRST + n for n in range(9)])
    assert _packets(any_site) == 0


@given(
    letters=st.dictionaries(st.integers(1, 2000), st.text("12 ab", min_size=1).map(letter_words.folded), max_size=12),
    sought=st.text("12 ab", min_size=2, max_size=4).map(letter_words.folded).filter(lambda text: len(text) > 1),
)
def test_a_packet_has_exactly_the_letters_that_hold_the_words(letters: dict[int, str], sought: str) -> None:
    """Numbers too: a message's own is no word of its letter."""
    packet = b"".join(b"%d\t%s\n" % (number, said.encode()) for number, said in letters.items())
    assert set(_in(packet, sought.encode())) == {number for number, said in letters.items() if sought in said}
