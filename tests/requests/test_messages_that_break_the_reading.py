"""A message at which the program itself breaks, or its process ends: it goes to a person, and holds up nothing else."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import timedelta
from multiprocessing import get_context

import pytest
from sqlalchemy import select

from replacements.requests import intake
from replacements.store.database import Database
from replacements.store.tables import Message, Request
from tests.requests.conftest import MONDAY, OfficeAtWork, county  # noqa: F401 - a fixture

LETTER = b"From: ada.q@post.example\r\nSubject: ballot\r\n\r\nAda Quillfeather wants another ballot.\r\n"


def _dies(url: str, message_id: int) -> None:
    intake._read_one = lambda *_, **__: os._exit(9)  # type: ignore[assignment]
    intake.read_one(Database(url), message_id, now=MONDAY)


@pytest.fixture
def letter(database: Database, county: Callable[..., OfficeAtWork]) -> int:  # noqa: F811
    county(database)
    return intake.keep(database, LETTER, source="INBOX", validity="1", uid="1", at=MONDAY).message_id


def _kept(database: Database) -> tuple[str, int, str]:
    with database.read() as session:
        message = session.scalars(select(Message)).one()
        return message.state, message.attempts, message.error or ""


def test_a_message_that_ends_its_process_three_times_is_set_aside_for_a_person(database: Database, letter: int) -> None:
    for _ in range(intake.MOST_ATTEMPTS):
        process = get_context("fork").Process(target=_dies, args=(database.url, letter))
        process.start()
        process.join(60)
        assert process.exitcode == 9
    assert _kept(database)[:2] == ("stored", 3)
    assert not intake.read_one(database, letter, now=MONDAY + intake.LONGEST_READING)
    state, _, why = _kept(database)
    assert state == "failed"
    assert "broken off" in why
    with database.read() as session:
        request = session.scalars(select(Request)).one()
    assert (request.state, request.proposal) == ("waiting", "read")


def test_one_that_was_killed_once_is_read_at_once_afterwards(database: Database, letter: int) -> None:
    process = get_context("fork").Process(target=_dies, args=(database.url, letter))
    process.start()
    process.join(60)
    assert intake.read_one(database, letter, now=MONDAY)
    assert _kept(database)[0] == "read"


def test_readings_that_still_go_on_are_not_taken_for_broken_off(database: Database, letter: int) -> None:
    """The same task, handed out four times to slow workers."""
    assert all(intake._begin(database, letter, MONDAY) for _ in range(intake.MOST_ATTEMPTS))
    assert not intake.read_one(database, letter, now=MONDAY + timedelta(seconds=5))
    assert _kept(database)[0] == "stored"
    assert intake._read_one(database, letter, now=MONDAY)
    assert _kept(database)[0] == "read"


def test_the_type_and_the_place_are_kept_and_no_word_of_the_letter(
    database: Database, letter: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise ValueError("cannot judge the letter of Ada Quillfeather")

    monkeypatch.setattr(intake, "judge_among", broken)
    for _ in range(intake.MOST_ATTEMPTS):
        intake.read_one(database, letter, now=MONDAY)
    state, _, why = _kept(database)
    assert state == "failed"
    assert why.startswith("ValueError in ")
    assert "intake._read_one, line " in why
    assert "Quillfeather" not in why + str(capsys.readouterr())
