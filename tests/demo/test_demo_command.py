"""`replacements demo --once`, as somebody who tries it for the first time."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner
from sqlalchemy import func, select

from replacements.cli import main
from replacements.demo.running import MARK
from replacements.proposals.types import Action
from replacements.reading.types import Kind
from replacements.roll.types import Standing
from replacements.store.database import Database
from replacements.store.tables import Message, Request, VoterRow


def test_the_demo_shows_every_kind_and_standing_and_goes_on_where_it_stood(tmp_path: Path) -> None:
    folder = tmp_path / "var"
    first = CliRunner().invoke(main, ["--data", str(folder), "demo", "--once"])
    assert first.exit_code == 0, first.output
    database = Database(str(folder / "replacements.db"))
    with database.read() as session:
        voters = session.scalar(select(func.count()).select_from(VoterRow))
        messages = session.scalar(select(func.count()).select_from(Message))
        requests = session.scalars(select(Request)).all()
    assert voters == 2000
    assert {kind for request in requests for kind in request.kinds} == {kind.value for kind in Kind}
    assert {request.standing for request in requests if request.standing} == {s.value for s in Standing}
    # Nobody is late in the demo: its last day for post lies ahead.
    assert {request.proposal for request in requests} >= {a.value for a in Action} - {Action.COME_IN.value}
    accounts = json.loads((folder / MARK).read_text(encoding="utf-8"))["accounts"]
    assert all(passphrase in first.output for *_, passphrase in accounts)

    again = CliRunner().invoke(main, ["--data", str(folder), "demo", "--once"])
    assert again.exit_code == 0
    with database.read() as session:
        assert session.scalar(select(func.count()).select_from(Message)) == messages
        assert session.scalar(select(func.count()).select_from(Request)) == len(requests)

    fresh = CliRunner().invoke(main, ["--data", str(folder), "demo", "--once", "--fresh"])
    assert fresh.exit_code == 0
    assert accounts != json.loads((folder / MARK).read_text(encoding="utf-8"))["accounts"]
