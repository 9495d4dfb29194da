"""A mailing: what goes in it, closing it, its papers, the two signatures."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, render_template, request, url_for
from sqlalchemy import Row
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response as AnyResponse

from replacements.ballots.life import NotPossible
from replacements.mailings import documents, printing_again, queue, signing, stock
from replacements.mailings.forecast import Forecast, forecast
from replacements.mailings.layout import Layout
from replacements.people.permissions import Permission
from replacements.requests import dispatch
from replacements.requests import office as elections
from replacements.requests.office import InForce
from replacements.requests.upcoming import upcoming
from replacements.rules.calendar import cut_off
from replacements.rules.office import Rules
from replacements.store.tables import Ballot, Mailing, Packet, VoterRow
from replacements.web import packet_list
from replacements.web.evidence import full_name
from replacements.web.guard import LARGEST, here, leaf, needs, office, rules_or_stop
from replacements.web.unsettled import mailings

blueprint = Blueprint("mailing", __name__)
STYLES = 40  # in the table of blank ballots, where not all are asked for
Paper = Callable[[Session, int, Rules], bytes]
PAPERS: dict[str, tuple[str, Paper]] = {
    "labels": ("Labels", documents.labels_pdf),
    "pick-list": ("Pick list", documents.pick_list_pdf),
    "checklist": ("Packet checklist", documents.checklist_pdf),
    "manifest": ("Manifest", documents.manifest_pdf),
}


def _of(session: Session, election_id: str | None) -> InForce:
    """The rules of an election; where none is named, or there is no such, those that hold where nothing names one."""
    found = elections.of(session, election_id, at=here().at) if election_id else None
    return found or rules_or_stop()


def _looked_at(election_id: str | None) -> InForce:
    """The same for a page that only shows, as of the moment at which it was asked for."""
    return next((one for one in here().every if one.election_id == election_id), None) or rules_or_stop()


@dataclass(frozen=True, slots=True)
class _Listed:
    """The packets that the page lists, and what they were chosen by. `packet`: the one that the address asks for; no
    rows: it is not in this mailing. `found`: how many fit `wanted`, where they were searched for."""

    rows: Sequence[Row[Packet, Ballot, VoterRow]] = ()
    number: int = 1
    only: str = ""
    style: str = ""
    packet: int = 0
    wanted: str = ""
    found: int | None = None
    a_page: int = packet_list.A_PAGE


def _listed(session: Session, mailing: Mailing | None) -> _Listed:
    if mailing is None:
        return _Listed()
    packet = request.args.get("packet", 0, type=int)
    if 0 < packet <= LARGEST:
        number = packet_list.leaf_of(session, mailing.id, packet)
        return _Listed(packet_list.page(session, mailing.id, number=number) if number else (), number, packet=packet)
    number, style, only = leaf(), request.args.get("style", ""), request.args.get("only", "")
    only = only if only in packet_list.ONLY else ""
    rows = packet_list.page(session, mailing.id, number=number, only=only, style=style)
    return _Listed(rows, number, only, style)


def _page(session: Session, force: InForce, mailing: Mailing | None, listed: _Listed | None = None) -> str:
    """A mailing by the rules of its own election; None: the one that is being filled, where nothing waits yet.
    `listed`: where they are at hand, else those that the address asks for."""
    begun = mailings(session)
    filled = [(one, upcoming(session, one, here().at, mailings=begun)) for one in here().elections]
    if force.election_id not in {one.election_id for one, _ in filled}:
        filled.append((force, upcoming(session, force, here().at, mailings=begun)))
    filled_now = next(upcoming_one for one, upcoming_one in filled if one.election_id == force.election_id)
    goes_on = mailing.goes_on if mailing else filled_now.goes_on
    signed = signing.signatures(session, mailing) if mailing else []
    signatures = [one for one in signed if mailing and mailing.manifest and signing.still_counts(one, mailing)]
    stocks = forecast(session, force.election_id, force.rules, now=here().at)
    manifest = (mailing.manifest if mailing and mailing.state != "open" else None) or {}
    return render_template(
        "mailing.html",
        mailing=mailing,
        goes_on=goes_on,
        election=force,
        filled=filled,
        unsigned=[one for one in begun if one.state == "closed"],
        names={one.election_id: one.rules.election.name for one in here().every},
        closes_at=cut_off(force.rules, goes_on),
        listed=listed or _listed(session, mailing),
        tally=packet_list.counted(session, mailing.id) if mailing else None,
        troubles=packet_list.troubles(session, mailing.id) if mailing else [],
        signatures=signatures,
        overtaken=len(signed) - len(signatures),
        electronic=manifest.get("electronic", 0),
        left_out=manifest.get("left_out", []),
        sheets=_sheets(manifest, force.rules),
        papers=PAPERS,
        reasons=printing_again.REASONS,
        full_name=full_name,
        stocks=stocks,
        pressing=_most_pressing(stocks),
        all_styles=request.args.get("stock") == "all",
        a_table=STYLES,
        half_counted=stock.waiting(session, force.election_id),
        mailings=[one for one in reversed(begun) if one.election_id == force.election_id][:10],
    )


def _most_pressing(stocks: Sequence[Forecast]) -> Sequence[Forecast]:
    """Of an office with hundreds of styles those that somebody must see to first; of any other all, by name."""
    if len(stocks) <= STYLES:
        return stocks

    def first(row: Forecast) -> tuple[int, date, bool, int, str]:
        books = row.stock
        return -books.short, row.lasts_until or date.max, books.opening is not None, -books.reserved, books.style

    return sorted(stocks, key=first)[:STYLES]


def _sheets(manifest: Mapping[str, Any], rules: Rules) -> int:
    """How many sheets the labels of a closed mailing take."""
    if not manifest:
        return 0
    return -(-int(manifest["total"]) // Layout.frozen(manifest.get("layout"), rules).per_sheet)


@blueprint.get("/mailing")
@needs(Permission.SEE_MAILING)
def next_one() -> str | AnyResponse:
    """The mailing that is to be signed off, for those who sign; else the one that is being filled."""
    force = rules_or_stop()
    with office().database.read() as session:
        closed = [
            mailing
            for mailing in (mailings(session) if here().may(Permission.SIGN_MAILING) else ())
            if mailing.state == "closed" and here().chosen in ("", mailing.election_id)
        ]
        if closed and closed[0].election_id != force.election_id:
            return redirect(url_for("mailing.page", mailing_id=closed[0].id, election=closed[0].election_id))
        if closed:
            return _page(session, force, closed[0])
        return _page(session, force, upcoming(session, force, here().at, mailings=mailings(session)).mailing)


@blueprint.get("/mailing/filling")
@needs(Permission.SEE_MAILING)
def filling() -> str:
    """The mailing that what is approved now goes into: of the election that is named, or else of the next one."""
    with office().database.read() as session:
        force = _looked_at(request.args.get("election"))
        return _page(session, force, upcoming(session, force, here().at, mailings=mailings(session)).mailing)


@blueprint.get("/mailings/<int:mailing_id>")
@needs(Permission.SEE_MAILING)
def page(mailing_id: int) -> str | AnyResponse:
    with office().database.read() as session:
        mailings(session)  # it is among them, and not read once more
        mailing = _found(session, mailing_id)
        listed = _listed(session, mailing)
        elsewhere = session.get(Packet, listed.packet) if listed.packet and not listed.rows else None
        if elsewhere is not None:
            flash(f"Packet {elsewhere.id} is in this mailing, not in the one that you looked at.", "note")
            return _back(elsewhere.mailing_id, elsewhere.id)
        return _page(session, _looked_at(mailing.election_id), mailing, listed)


@blueprint.post("/mailings/<int:mailing_id>/find")
@needs(Permission.SEE_MAILING)
def find(mailing_id: int) -> str | AnyResponse:
    """A packet by its number, wherever in the list it stands. A form and not a link: it may be a name, and names stay
    out of addresses and logs."""
    wanted = request.form.get("wanted", "").strip()
    if len(wanted) > packet_list.LONGEST:
        abort(400, "What is searched for is too long. Search for a part of it.")
    with office().database.read() as session:
        mailing = _found(session, mailing_id)
        found = packet_list.find(session, mailing_id, wanted, names=here().sees_personal) if wanted else []
        if len(found) == 1:
            return redirect(url_for("mailing.page", mailing_id=mailing_id, packet=found[0], _anchor="asked-for"), 303)
        rows = packet_list.page(session, mailing_id, packets=found)
        return _page(session, _looked_at(mailing.election_id), mailing, _Listed(rows, wanted=wanted, found=len(found)))


def _found(session: Session, mailing_id: int) -> Mailing:
    mailing = session.get(Mailing, mailing_id)
    if mailing is None:
        abort(404)
    return mailing


def _rules(session: Session, mailing_id: int) -> Rules:
    """The rules of the election that a mailing belongs to."""
    return _of(session, _found(session, mailing_id).election_id).rules


def _back(mailing_id: int, packet_id: int | None = None) -> AnyResponse:
    """To a mailing; where a packet is named, to the page of its list that this one stands on."""
    return redirect(url_for("mailing.page", mailing_id=mailing_id, packet=packet_id), 303)


@blueprint.post("/mailings/<int:mailing_id>/close")
@needs(Permission.CLOSE_MAILING)
def close(mailing_id: int) -> AnyResponse:
    try:
        dispatch.close(office().database, mailing_id, by=here().name, at=here().at)
    except NotPossible as why:
        flash(f"{why} Nothing was changed.", "stop")
    else:
        flash("The mailing is closed. Print its papers, fill the packets, count them, and sign.", "good")
    return _back(mailing_id)


@blueprint.post("/mailings/<int:mailing_id>/sign")
@needs(Permission.SIGN_MAILING)
def sign(mailing_id: int) -> AnyResponse:
    numbers = [request.form.get(name, type=int) for name in ("picked", "labelled", "sealed")]
    electronic = request.form.get("electronic", 0, type=int)
    picked, labelled, sealed = (number if number is not None and 0 <= number <= LARGEST else None for number in numbers)
    if picked is None or labelled is None or sealed is None or not 0 <= electronic <= LARGEST:
        flash("Enter what you counted, each as a number: picked, labelled, sealed. Nothing was signed.", "stop")
        return _back(mailing_id)
    counts = signing.Counts(picked, labelled, sealed, electronic)
    try:
        signed = dispatch.sign(office().database, mailing_id, account=here().name, counts=counts, at=here().at)
    except NotPossible as why:
        flash(f"{why} Nothing was signed.", "stop")
    else:
        flash(signed.text, "stop" if signed.state == "refused" else "good")
    return _back(mailing_id)


@blueprint.post("/packets/<int:packet_id>/pull")
@needs(Permission.PULL_PACKET)
def pull(packet_id: int) -> AnyResponse:
    """A packet is taken out: it goes with the next mailing, or (`then` is `out`) is kept out of all."""
    keep_out = request.form.get("then") == "out"
    reason = request.form.get("note", "").strip()
    with office().database.read() as session:
        packet = session.get(Packet, packet_id)
        if packet is None:
            abort(404)
        mailing_id = packet.mailing_id
        rules = _rules(session, mailing_id)
    if not reason:
        flash("Say why the packet is pulled. Nothing was changed.", "stop")
        return _back(mailing_id, packet_id)
    try:
        with office().database.write() as session:
            signed = _signed(session, mailing_id)
            if keep_out:
                packet = queue.pull(session, packet_id, by=here().name, at=here().at, reason=reason)
            else:
                packet = queue.put_off(session, packet_id, rules=rules, by=here().name, at=here().at, reason=reason)
            ballot = session.get(Ballot, packet.ballot_number) if packet.ballot_number else None
            goes_on = session.get_one(Mailing, packet.mailing_id).goes_on
            overtaken = signed and not _signed(session, mailing_id)
    except NotPossible as why:
        flash(f"{why} Nothing was changed.", "stop")
    else:
        flash("The packet is pulled from this mailing.", "good")
        if overtaken:
            flash("The signatures made before no longer count: two people count this mailing again, and sign.", "note")
        if packet.id != packet_id:
            flash(f"It goes with the mailing of {goes_on:%A, %B} {goes_on.day}, as packet {packet.id}.", "good")
        elif ballot is not None and ballot.state == "issued":
            flash(
                f"Ballot {ballot.number} is still the one that counts for its voter, and it is in no mailing now. "
                "Unless it is handed over or taken back, put it into the next mailing: the list below has a button.",
                "note",
            )
    return _back(mailing_id, packet_id)


def _signed(session: Session, mailing_id: int) -> bool:
    """Has somebody signed the mailing as it is now?"""
    return bool(signing.valid_signatures(session, _found(session, mailing_id)))


@blueprint.post("/packets/<int:packet_id>/again")
@needs(Permission.PULL_PACKET)
def queue_again(packet_id: int) -> AnyResponse:
    """What was pulled goes with the next mailing after all."""
    with office().database.read() as session:
        packet = session.get(Packet, packet_id)
        if packet is None:
            abort(404)
        mailing_id = packet.mailing_id
        rules = _rules(session, mailing_id)
    try:
        with office().database.write() as session:
            fresh = queue.queue_again(session, packet_id, rules=rules, by=here().name, at=here().at)
            goes_on = session.get_one(Mailing, fresh.mailing_id).goes_on
    except NotPossible as why:
        flash(f"{why} Nothing was changed.", "stop")
    else:
        flash(f"Packet {fresh.id} goes with the mailing of {goes_on:%A, %B} {goes_on.day}.", "good")
    return _back(mailing_id, packet_id)


@blueprint.get("/mailings/<int:mailing_id>/<paper>.pdf")
@needs(Permission.PRINT_MAILING)
def paper(mailing_id: int, paper: str) -> Response:
    if paper not in PAPERS:
        abort(404)
    with office().database.write() if paper == "labels" else office().database.read() as session:
        mailing = _found(session, mailing_id)
        if mailing.state == "open":
            abort(409, "A mailing's papers are printed when it is closed; this one is still open.")
        if paper == "labels":  # each print of labels is on record, since a label too many is a packet too many
            printing_again.record_print(session, mailing_id, by=here().name, at=here().at)
        return _pdf(
            PAPERS[paper][1](session, mailing_id, _rules(session, mailing_id)), f"{paper}-{mailing.goes_on.isoformat()}"
        )


def _pdf(data: bytes, name: str) -> Response:
    disposition = f'inline; filename="{name}.pdf"'
    return Response(data, mimetype="application/pdf", headers={"Content-Disposition": disposition})


@blueprint.post("/packets/<int:packet_id>/label")
@needs(Permission.PRINT_MAILING)
def label_again(packet_id: int) -> AnyResponse:
    """One label once more, after a jam. That it was printed again is recorded."""
    reason = request.form.get("reason", "")
    try:
        with office().database.write() as session:
            packet = printing_again.reprint(session, packet_id, by=here().name, at=here().at, reason=reason)
            rules = _rules(session, packet.mailing_id)
            data = documents.labels_pdf(session, packet.mailing_id, rules, packets={packet_id})
    except NotPossible as why:
        abort(409, str(why))
    return _pdf(data, f"label-{packet_id}")


@blueprint.post("/mailings/<int:mailing_id>/labels")
@needs(Permission.PRINT_MAILING)
def sheet_again(mailing_id: int) -> AnyResponse:
    """The labels of one sheet once more. That they were printed again is recorded, label by label."""
    sheet, reason = request.form.get("sheet", 0, type=int), request.form.get("reason", "")
    try:
        with office().database.write() as session:
            rules = _rules(session, mailing_id)
            ids = documents.on_sheet(session, mailing_id, rules, sheet)
            packets = printing_again.reprint_sheet(
                session, mailing_id, ids, by=here().name, at=here().at, reason=reason
            )
            data = documents.labels_pdf(session, mailing_id, rules, packets={packet.id for packet in packets})
    except NotPossible as why:
        abort(409, str(why))
    return _pdf(data, f"labels-{mailing_id}-sheet-{sheet}")


@blueprint.post("/stock")
@needs(Permission.SET_STOCK)
def enter_stock() -> AnyResponse:
    """What one person counted of a style. The second person who counts the same books it."""
    style, number = request.form.get("style", "").strip(), request.form.get("number", type=int)
    kind, note = request.form.get("kind", "counted"), request.form.get("note", "").strip()
    if not style or number is None or not 0 <= number <= LARGEST:
        flash("Enter a ballot style and a number. Nothing was changed.", "stop")
        return redirect(url_for("mailing.next_one"), 303)
    try:
        with office().database.write() as session:
            force = _of(session, request.form.get("election"))
            entered = stock.enter(
                session, force.election_id, style, kind, number, by=here().name, at=here().at, note=note
            )
    except NotPossible as why:
        flash(f"{why} Nothing was changed.", "stop")
    else:
        flash(entered.text, {"waiting": "note", "agreed": "good"}.get(entered.state, "stop"))
    return redirect(url_for("mailing.next_one"), 303)
