"""`replacements demo`: an invented county set up in a data folder, its mailbox worked through, its dashboard served."""

from __future__ import annotations

import json
import os
import shutil
from collections import Counter
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from rich.table import Table
from sqlalchemy import select

from replacements.ballots.importing import import_ballots
from replacements.demo.setting_up import County, write_county
from replacements.mailings import stock
from replacements.people import accounts
from replacements.requests import office
from replacements.roll.importing import import_roll
from replacements.settings import Settings, SettingTrouble
from replacements.store.database import Database
from replacements.store.migrate import migrate
from replacements.store.tables import Message, Request, VoterRow

MARK = "demo-county.json"  # only a folder with this file in it is ever started over
STOCK_PER_STYLE = 40


def run_demo(
    settings: Settings, *, once: bool, fresh: bool, port: int, console: Console, now: Callable[[], datetime]
) -> None:
    """Set up (or go on with) the demo, work the mailbox through, print what came of it, and serve unless `once`."""
    from worker import jobs
    from worker.serving import free_or_trouble, serve_pages

    folder = settings.data
    settings = Settings.from_environment({}, data=folder)  # the demo never touches an installation that is set up
    if not once:
        free_or_trouble("127.0.0.1", port)  # said before the work, not after it
    if fresh:
        _start_over(folder)
    if (folder / "replacements.db").exists() and not (folder / MARK).exists():
        raise SettingTrouble(
            f"{folder} holds a database that is not the demo's. Nothing was changed; choose another folder with --data."
        )
    database = Database(settings.database) if folder.exists() else _new_folder(settings)
    migrate(database)
    if not (folder / MARK).exists():
        console.print(f"Setting up an invented county in {folder} …")
        _set_up(database, folder, now())
    work = jobs.Work(database, settings, now)
    jobs.fetch_mail(work)
    with _bar(console) as bar:
        task = bar.add_task("Reading the mailbox", total=jobs.count_to_read(work))
        jobs.read_waiting(work, lambda done, total: bar.update(task, completed=done, total=total))
    console.print(_what_was_read(database))
    mark = json.loads((folder / MARK).read_text(encoding="utf-8"))
    console.print(_accounts(mark["accounts"]))
    console.print(
        f"Set up on {mark['set_up_on']}; everything in it is invented. Start over with --fresh. "
        f"The mailbox is {folder / 'mailbox'}, what is sent goes to {folder / 'sent'}."
    )
    if once:
        database.close()
        return
    serve_pages(database, settings, host="127.0.0.1", port=port, jobs=True, now=now)


def _new_folder(settings: Settings) -> Database:
    settings.data.mkdir(parents=True)
    return Database(settings.database)


def _start_over(folder: Path) -> None:
    if not folder.exists():
        return
    if any(folder.iterdir()) and not (folder / MARK).exists():
        raise SettingTrouble(
            f"{folder} is not a demo's folder ({MARK} is missing), so --fresh does not remove it. Nothing was changed."
        )
    shutil.rmtree(folder)


def _set_up(database: Database, folder: Path, at: datetime) -> None:
    today = at.astimezone().date()
    county: County = write_county(folder, today, at)
    with database.write() as session:
        force = office.load(session, county.office.read_text(encoding="utf-8"), at=at)
        office.adopt(session, official=county.official, by="demo", at=at)
        import_roll(session, county.roll)
        import_ballots(session, county.ballots, election_id=force.election_id, at=at)
        for style in session.scalars(select(VoterRow.style).distinct().order_by(VoterRow.style)):
            for by in ("demo", "demo, second person"):
                stock.enter(session, force.election_id, style, "counted", STOCK_PER_STYLE, by=by, at=at)
        for person in county.accounts:
            accounts.create(
                session,
                name=person.name,
                password=person.password,
                roles=person.roles,
                at=at,
                full_name=person.full_name,
                email=f"{person.name}@saltmarrow.example" if "supervisor" in person.roles else "",
            )
    mark = {
        "set_up_on": today.isoformat(),
        "accounts": [[p.name, p.full_name, ", ".join(p.roles), p.password] for p in county.accounts],
    }
    with os.fdopen(os.open(folder / MARK, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
        json.dump(mark, file, indent=1)


def _bar(console: Console) -> Progress:
    return Progress(TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), console=console)


def _what_was_read(database: Database) -> Table:
    """What was read and what is proposed, counted."""
    with database.read() as session:
        messages = session.scalars(select(Message.id)).all()
        requests = session.scalars(select(Request)).all()
    proposals: dict[str, Counter[str]] = {}
    standings: dict[str, Counter[str]] = {}
    for request in requests:
        kinds = proposals.setdefault(request.proposal, Counter())
        kinds.update(request.kinds or ["unreadable"])
        standings.setdefault(request.proposal, Counter()).update([request.standing or "no voter"])
    table = Table(
        "proposal", "requests", "who it is about", "asked for", title=f"{len(messages)} mails, {len(requests)} requests"
    )
    for proposal, kinds in sorted(proposals.items(), key=lambda item: -standings[item[0]].total()):
        table.add_row(
            proposal,
            str(standings[proposal].total()),
            _counted(standings[proposal]),
            _counted(kinds),
            end_section=False,
        )
    return table


def _counted(counts: Counter[str]) -> str:
    return ", ".join(f"{name} {count}" for name, count in counts.most_common())


def _accounts(rows: list[list[str]]) -> Table:
    table = Table("account", "name", "roles", "passphrase", title="The demo's accounts")
    for row in rows:
        table.add_row(*row)
    return table
