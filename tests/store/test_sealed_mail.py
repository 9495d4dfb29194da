"""Stored mail is sealed: a copy of the database alone shows no letter, old keys still open, and nothing is lost."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from nacl.secret import SecretBox
from sqlalchemy import select, text

from replacements.cli import main
from replacements.requests import intake, letter_words, office
from replacements.store import sealed_mail, sealing
from replacements.store.database import Database
from replacements.store.sealing import NO_KEYS, Keys, SealTrouble
from replacements.store.tables import LetterWords, Message, RawMail
from tests.requests.conftest import RULES

LETTER = b"Subject: my ballot\r\n\r\nI spilled elderberry juice over my ballot.\r\n"
AT = datetime(2026, 10, 5, 13, 0, tzinfo=UTC)


@dataclass
class Safe:
    """An office's database and its key file."""

    database: Database
    file: Path

    def new_key(self) -> str:
        return sealing.make_key(self.file)

    def use_keys(self) -> None:
        """As after a start."""
        sealing.give(self.database.engine.dialect, sealing.read_keys(self.file))

    def store(self, raw: bytes, uid: str = "1") -> int:
        return intake.keep(self.database, raw, source="INBOX", validity="1", uid=uid, at=AT).message_id

    def opened(self, message_id: int) -> bytes:
        with self.database.read() as session:
            return session.get_one(RawMail, message_id).raw

    def on_disk(self, message_id: int) -> bytes:
        with self.database.read() as session:
            query = text("SELECT raw FROM raw_mail WHERE message_id = :id")
            return bytes(session.execute(query, {"id": message_id}).scalar_one())


@pytest.fixture
def safe(database: Database, tmp_path: Path) -> Iterator[Safe]:
    yield Safe(database, tmp_path / "keys")
    sealing.give(database.engine.dialect, NO_KEYS)


def test_a_letter_is_stored_sealed_and_opens_as_it_came(safe: Safe) -> None:
    safe.new_key()
    safe.use_keys()
    letter = safe.store(LETTER)
    assert safe.opened(letter) == LETTER
    assert b"elderberry" not in safe.on_disk(letter)


def test_without_keys_nothing_changes(safe: Safe) -> None:
    letter = safe.store(LETTER)
    assert safe.on_disk(letter) == safe.opened(letter) == LETTER


def test_letters_of_before_the_first_key_still_open(safe: Safe) -> None:
    letter = safe.store(LETTER)
    safe.new_key()
    safe.use_keys()
    assert safe.opened(letter) == LETTER


def test_the_newest_key_seals_and_the_older_ones_open(safe: Safe) -> None:
    first = safe.new_key()
    safe.use_keys()
    old = safe.store(LETTER)
    second = safe.new_key()
    safe.use_keys()
    new = safe.store(b"another " + LETTER, uid="2")
    assert sealing.sealed_by(safe.on_disk(old)) == first
    assert sealing.sealed_by(safe.on_disk(new)) == second
    assert safe.opened(old) == LETTER


def test_sealing_anew_brings_all_mail_under_the_newest_key_and_may_be_broken_off(
    safe: Safe, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sealed_mail, "_AT_A_TIME", 2)
    letters = [safe.store(b"%d " % n + LETTER, uid=str(n)) for n in range(3)]
    first = safe.new_key()
    safe.use_keys()
    letters += [safe.store(b"%d " % n + LETTER, uid=str(n)) for n in range(3, 6)]
    second = safe.new_key()
    safe.use_keys()

    def power_cut(_done: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sealed_mail.seal_anew(safe.database, progress=power_cut)
    with safe.database.read() as session:
        assert sealed_mail.by_key(session) == {"": 1, first: 3, second: 2}
    assert sealed_mail.seal_anew(safe.database) == 4
    assert sealed_mail.seal_anew(safe.database) == 0
    with safe.database.read() as session:
        assert sealed_mail.by_key(session) == {second: 6}
    assert [safe.opened(letter) for letter in letters] == [b"%d " % n + LETTER for n in range(6)]


def test_the_words_that_are_kept_for_searching_are_sealed_with_their_letter_and_anew_with_it(safe: Safe) -> None:
    letter = safe.store(LETTER)
    with safe.database.write() as session:
        session.add(LetterWords(message_id=letter, words=b"elderberry juice"))
    query = text("SELECT words FROM letter_words WHERE message_id = :id")
    for _ in range(2):
        name = safe.new_key()
        safe.use_keys()
        assert sealed_mail.seal_anew(safe.database) == 1
        with safe.database.read() as session:
            stored = bytes(session.execute(query, {"id": letter}).scalar_one())
            assert sealing.sealed_by(stored) == name
            assert b"elderberry" not in stored
            assert session.get_one(LetterWords, letter).words == b"elderberry juice"


def test_words_that_are_packed_together_are_sealed_as_one_and_anew(safe: Safe, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(letter_words, "A_PACKET", 10)
    with safe.database.write() as session:
        for said in (b"elderberry juice", b"plum jam"):
            letter = Message(fingerprint=said.decode(), arrived_at=AT, stored_at=AT)
            session.add(letter)
            session.flush()
            session.add(LetterWords(message_id=letter.id, words=said))
    safe.new_key()
    safe.use_keys()
    assert letter_words.pack(safe.database) == 1
    for _ in range(2):
        sealed_mail.seal_anew(safe.database)
        with safe.database.read() as session:
            stored = bytes(session.execute(text("SELECT words FROM packed_words")).scalar_one())
            assert sealing.sealed_by(stored) == sealing.keys_of(safe.database.engine.dialect).newest
            assert b"elderberry" not in stored
            assert letter_words.search(session, "elderberry") == ({1}, True)
        safe.new_key()
        safe.use_keys()


def test_a_missing_key_is_said_before_anything_is_done(safe: Safe) -> None:
    name = safe.new_key()
    safe.use_keys()
    safe.store(LETTER)
    sealing.give(safe.database.engine.dialect, NO_KEYS)
    with pytest.raises(SealTrouble, match=name):
        sealed_mail.check(safe.database)
    safe.use_keys()
    sealed_mail.check(safe.database)


def test_a_message_whose_key_is_missing_waits_and_no_attempt_is_counted(safe: Safe, tmp_path: Path) -> None:

    with safe.database.write() as session:
        office.load(session, RULES, at=AT)
        office.adopt(session, official="the registrar", by="test", at=AT)
    safe.new_key()
    safe.use_keys()
    letter = safe.store(LETTER)
    sealing.give(safe.database.engine.dialect, NO_KEYS)
    for _ in range(intake.MOST_ATTEMPTS + 1):
        with pytest.raises(SealTrouble):
            intake.read_one(safe.database, letter, now=AT)
    safe.use_keys()
    assert intake.read_one(safe.database, letter, now=AT)
    with safe.database.read() as session:
        assert session.scalars(select(Message.state)).one() == "read"


def test_changed_bytes_are_refused_and_not_shown_as_a_letter(tmp_path: Path) -> None:
    sealing.make_key(tmp_path / "keys")
    keys = sealing.read_keys(tmp_path / "keys")
    stored = bytearray(sealing.seal(LETTER, keys))
    stored[-1] ^= 1
    with pytest.raises(SealTrouble, match="not as it was sealed"):
        sealing.unseal(bytes(stored), keys)


@given(
    st.one_of(st.binary(), st.binary().map(lambda b: b"\0sealed:" + b), st.binary().map(lambda b: b"\0as it came:" + b))
)
def test_any_bytes_come_back_as_they_came_with_and_without_keys(raw: bytes) -> None:
    """Also mail that begins like something sealed, which only harm would send."""

    for keys in (NO_KEYS, Keys({"0123456789abcdef": SecretBox(b"k" * 32)})):
        assert sealing.unseal(sealing.seal(raw, keys), keys) == raw


def test_the_key_file_is_its_owners_alone_and_a_spoilt_line_is_named(tmp_path: Path) -> None:
    path = tmp_path / "keys"
    sealing.make_key(path)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    with path.open("a") as file:
        file.write("0123456789abcdef bm90IGEga2V5\n")
    with pytest.raises(SealTrouble, match="line 2"):
        sealing.read_keys(path)


def test_the_commands_make_list_and_reseal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def said(*words: str, status: int = 0) -> str:
        done = CliRunner().invoke(main, ["--data", str(tmp_path), "keys", *words])
        assert done.exit_code == status, done.output
        return done.output

    assert "REPLACEMENTS_MAIL_KEYS" in said("make", status=2)
    database = Database(str(tmp_path / "replacements.db"))
    said("list")
    letter = Safe(database, tmp_path).store(LETTER)
    monkeypatch.setenv("REPLACEMENTS_MAIL_KEYS", str(tmp_path / "keys"))
    assert "not there" in said("reseal", status=2)
    name = said("make").split()[1]
    assert "not sealed" in said("list")
    assert f"sealed with the key {name}" in said("reseal")
    assert b"elderberry" not in Safe(database, tmp_path).on_disk(letter)
    database.close()
    assert b"elderberry" not in (tmp_path / "replacements.db").read_bytes()
    (tmp_path / "keys").unlink()
    sealing.make_key(tmp_path / "keys")
    assert "MISSING" in said("list", status=1)
    assert name in said("reseal", status=2)
