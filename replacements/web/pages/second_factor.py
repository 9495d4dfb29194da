"""The second factor: given at signing in, set up where a role must have one, and looked after by the person.

Whoever gave the password and not the second factor yet comes nowhere else (OWASP ASVS 5.0, 6.3.3). Changes of one's
factors ask for the password again (7.5.1) and end all other sign-ins (7.4.3).
"""

from __future__ import annotations

from dataclasses import replace

from flask import Blueprint, abort, flash, g, redirect, render_template, request, url_for
from flask import Response as FlaskResponse
from sqlalchemy.orm import Session
from werkzeug.wrappers import Response

from replacements.ballots import ledger
from replacements.people import accounts, second_factor, security_keys, sign_ins
from replacements.people.accounts import AccountTrouble
from replacements.web.guard import (
    WITH_SCRIPT,
    ends,
    hand_over,
    here,
    inside,
    office,
    token,
    wants_second,
    while_signing_in,
)
from replacements.web.qr_code import drawing

blueprint = Blueprint("second_factor", __name__, url_prefix="/second-factor")
WRONG_CODE = (
    "That code is not right, or was used before. After five wrong tries in a row, each further try has to wait a "
    "little, at most 15 minutes."
)
NOT_PROVED = (
    "That is not the code of this key. Check that the clock of the device is right, and type the code it shows now."
)
WRONG_PASSWORD = "The password is not right. Nothing was changed."  # noqa: S105
OURS = "Replacement ballots"
TOO_LATE = "Setting up took too long, or was begun anew elsewhere. Begin again."


def found() -> sign_ins.Found:
    """The sign-in of whoever is here; the door lets nobody in without one."""
    sign_in = here().sign_in
    if sign_in is None:
        abort(403)
    return sign_in


def secret() -> bytes:
    return office().settings.secret()


def place() -> security_keys.Place:
    """This site, as a browser sees it."""
    force = here().in_force
    name = force.rules.office.name if force else OURS
    return security_keys.Place(name, f"{'https' if office().settings.https else 'http'}://{request.host}")


def wanted() -> bool:
    """Whether a role of whoever is here must have a second factor."""
    return wants_second(found().member, here().elections or here().every)


def show(wrong: str = "") -> str:
    """The page as it is now: for the code, for setting up the first factor, or one's own factors."""
    sign_in = found()
    back = request.values.get("back", "")
    with office().database.read() as session:
        has = second_factor.standing(session, sign_in.member.account_id)
    with_keys = security_keys.can_be_used(place())
    if with_keys:
        g.policy = WITH_SCRIPT
    template = {sign_ins.CODE: "second_factor_code.html", sign_ins.SET_UP: "second_factor_first.html"}
    return render_template(
        template.get(sign_in.outstanding, "second_factor.html"),
        has=has,
        back=back,
        wrong=wrong,
        wanted=wanted(),
        member=sign_in.member,
        with_keys=with_keys,
    )


def record(session: Session, event: str, **details: object) -> None:
    """Who set up or removed which kind of factor, on the ledger; never a key or a code."""
    member = found().member
    ledger.append(
        session,
        event=event,
        election_id=here().election_id,
        by=member.name,
        at=here().at,
        details={"account": member.name, **details},
    )


def may_change() -> str:
    """What keeps whoever is here from changing factors; "" for nothing. Who is made to set up the first one has given
    the password just now."""
    sign_in = found()
    if sign_in.outstanding == sign_ins.CODE:
        abort(403)
    if sign_in.outstanding == sign_ins.SET_UP:
        return ""
    password = request.form.get("password", "")
    right = accounts.check_password(office().database, sign_in.member.name, password, at=here().at)
    return "" if right else WRONG_PASSWORD


def complete(session: Session, kind: str) -> str:
    """The sign-in goes on under a new token; returns it. What is shown next is for who is signed in whole."""
    g.here = replace(here(), member=found().member)
    return sign_ins.renew(session, token(), at=here().at, ends=ends(), second=kind)


@blueprint.after_request
def script_policy(response: FlaskResponse) -> FlaskResponse:
    """The pages that can ask a key have a script of ours; no other has."""
    if "policy" in g:
        response.headers["Content-Security-Policy"] = g.policy
    return response


@blueprint.get("/")
@while_signing_in
def page() -> str:
    return show()


@blueprint.post("/")
@while_signing_in
def give() -> tuple[str, int] | Response:
    """Give the code at signing in."""
    sign_in, back = found(), request.form.get("back", "")
    if sign_in.outstanding != sign_ins.CODE:
        return redirect(url_for("second_factor.page"), 303)
    typed = request.form.get("code", "")
    kind = second_factor.check(office().database, sign_in.member.account_id, typed, secret=secret(), at=here().at)
    if not kind:
        return show(WRONG_CODE), 403
    with office().database.write() as session:
        fresh = complete(session, kind)
        left = second_factor.standing(session, sign_in.member.account_id).codes_left
    if kind == second_factor.RECOVERY:
        flash(f"That recovery code is used up; {left} are left. If your device is lost, set up another one.", "note")
    answer = redirect(inside(back), 303)
    hand_over(answer, fresh)
    return answer


@blueprint.post("/app")
@while_signing_in
def begin_app() -> tuple[str, int] | str:
    """Show the key of a new app, as a drawing and as text."""
    wrong = may_change()
    if wrong:
        return show(wrong), 400
    with office().database.write() as session:
        key = second_factor.begin_app(session, found().member.account_id, secret=secret(), at=here().at)
    return _show_key(key)


def _show_key(key: str, wrong: str = "") -> str:
    address = second_factor.app_of(key).provisioning_uri(name=found().member.name, issuer_name=place().name)
    return render_template(
        "second_factor_app.html",
        key=" ".join(key[i : i + 4] for i in range(0, len(key), 4)),
        drawing=drawing(address),
        back=request.form.get("back", ""),
        wrong=wrong,
    )


@blueprint.post("/app/prove")
@while_signing_in
def prove_app() -> tuple[str, int] | Response:
    """The app gives the right code: it counts from now on, and the first recovery codes are shown."""
    sign_in = found()
    if sign_in.outstanding == sign_ins.CODE:
        abort(403)
    typed = "".join(request.form.get("code", "").split())
    account_id, at = sign_in.member.account_id, here().at
    with office().database.write() as session:
        key = second_factor.being_set_up(session, account_id, secret=secret(), at=at)
        if key is None:
            return show(TOO_LATE), 409
        if not second_factor.prove_app(session, account_id, typed, secret=secret(), at=at):
            return _show_key(key, NOT_PROVED), 400
        return has_one_more(session, second_factor.APP)


def has_one_more(session: Session, kind: str) -> Response:
    """A factor was proved: it is on the record, all other sign-ins end, and this one goes on. With the first factor
    come the recovery codes."""
    account_id, at = found().member.account_id, here().at
    record(session, "second_factor_set_up", kind=kind)
    sign_ins.end_all(session, account_id, besides=found().sign_in_id)
    fresh = complete(session, kind)
    if second_factor.standing(session, account_id).codes_left:
        flash("It is set up. Anywhere else where you were signed in, you are signed out.", "good")
        answer: Response = redirect(inside(request.form.get("back", "")), 303)
    else:
        codes = second_factor.make_recovery_codes(session, account_id, at=at)
        answer = _codes(codes, "It is set up.")
    hand_over(answer, fresh)
    return answer


def _codes(codes: list[str], done: str) -> Response:
    back = inside(request.form.get("back", ""))
    return Response(render_template("recovery_codes.html", codes=codes, done=done, back=back), mimetype="text/html")


@blueprint.post("/key/options")
@while_signing_in
def key_options() -> dict[str, object]:
    """For the page's script: what to ask a key for; or `trouble`, in words."""
    setting_up = request.form.get("purpose") == security_keys.SET_UP
    if not security_keys.can_be_used(place()):
        abort(404)
    if setting_up and (wrong := may_change()):
        return {"trouble": wrong}
    purpose = security_keys.SET_UP if setting_up else security_keys.GIVE
    with office().database.write() as session:
        return {"publicKey": security_keys.ask(session, found(), place(), purpose)}


@blueprint.post("/key")
@while_signing_in
def add_key() -> tuple[str, int] | Response:
    """A key answered: it counts from now on."""
    if found().outstanding == sign_ins.CODE:
        abort(403)
    try:
        with office().database.write() as session:
            security_keys.add(
                session,
                found(),
                place(),
                request.form.get("answer", ""),
                label=request.form.get("label", ""),
                at=here().at,
            )
            return has_one_more(session, second_factor.KEY)
    except security_keys.KeyRefused as refused:
        return show(str(refused)), 400


@blueprint.post("/key/give")
@while_signing_in
def give_key() -> tuple[str, int] | Response:
    """Give what a key signed, at signing in."""
    if found().outstanding != sign_ins.CODE:
        return redirect(url_for("second_factor.page"), 303)
    wrong, fresh = "", ""
    with office().database.write() as session:
        try:
            security_keys.give(session, found(), place(), request.form.get("answer", ""), at=here().at)
            fresh = complete(session, second_factor.KEY)
        except security_keys.KeyRefused as refused:  # the try stays booked, and the challenge used up
            wrong = str(refused)
    if wrong:
        return show(wrong), 403
    answer = redirect(inside(request.form.get("back", "")), 303)
    hand_over(answer, fresh)
    return answer


@blueprint.post("/codes")
@while_signing_in
def new_codes() -> tuple[str, int] | Response:
    """Ten new recovery codes in place of those before."""
    if found().outstanding:
        abort(403)
    wrong = may_change()
    account_id = found().member.account_id
    with office().database.write() as session:
        if not wrong and not second_factor.standing(session, account_id).factors:
            wrong = "Recovery codes stand in for a second factor, and you have none."
        if not wrong:
            codes = second_factor.make_recovery_codes(session, account_id, at=here().at)
            record(session, "recovery_codes_made")
            return _codes(codes, "Those before are worth nothing now.")
    return show(wrong), 400


@blueprint.post("/<int:factor_id>/remove")
@while_signing_in
def remove(factor_id: int) -> tuple[str, int] | Response:
    """Take one of one's own factors away."""
    if found().outstanding:
        abort(403)
    wrong = may_change()
    account_id = found().member.account_id
    if not wrong:
        try:
            with office().database.write() as session:
                second_factor.remove_one(session, account_id, factor_id, wanted=wanted())
                record(session, "second_factor_removed")
                sign_ins.end_all(session, account_id, besides=found().sign_in_id)
        except AccountTrouble as trouble:
            wrong = str(trouble)
    if wrong:
        return show(wrong), 400
    flash("It is removed. Anywhere else where you were signed in, you are signed out.", "good")
    return redirect(url_for("second_factor.page"), 303)
