"""Sign in, sign out, and one's own password."""

from __future__ import annotations

from flask import Blueprint, flash, make_response, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response

from replacements.people import accounts
from replacements.people.passwords import SHORTEST, PasswordRefused
from replacements.people.sign_ins import Member
from replacements.web.browsers import in_plain_words
from replacements.web.guard import (
    cookie_name,
    ends,
    for_everybody,
    for_staff,
    hand_over,
    here,
    inside,
    office,
    outstanding,
    token,
)

blueprint = Blueprint("door", __name__)

NOT_TOGETHER = (
    "That name and password do not go together. After five wrong tries in a row, each further try has to wait a "
    "little, at most 15 minutes."
)


@blueprint.get("/sign-in")
@for_everybody
def sign_in() -> str | Response:
    if here().member is not None:
        return redirect(url_for("front.page"))
    return sign_in_page(back=request.args.get("back", ""))


def sign_in_page(*, back: str = "", wrong: str = "") -> str:
    return render_template("sign_in.html", back=back, wrong=wrong, service=bool(office().settings.oidc_issuer))


@blueprint.post("/sign-in")
@for_everybody
def do_sign_in() -> tuple[str, int] | Response:
    back = request.form.get("back", "")
    at, place = here().at, office()
    member = accounts.check_password(
        place.database, request.form.get("name", ""), request.form.get("password", ""), at=at
    )
    if member is None:
        return sign_in_page(back=back, wrong=NOT_TOGETHER), 403
    return let_in(member, back=back)


def let_in(member: Member, *, back: str, second: str = "") -> Response:
    """Sign somebody in who has proved who they are. `second`: the kind of second factor that was given with it."""
    more = "" if second else outstanding(member)
    with office().database.write() as work:
        accounts.end_sign_in(work, token())
        fresh = accounts.start_sign_in(
            work,
            member.account_id,
            at=here().at,
            ends=ends(),
            browser=in_plain_words(request.user_agent.string),
            outstanding=more,
            second=second,
        )
    session.clear()  # nothing from before signing in is kept
    answer = redirect(url_for("second_factor.page", back=back or None) if more else inside(back), 303)
    hand_over(answer, fresh)
    return answer


@blueprint.post("/sign-out")
@for_everybody
def sign_out() -> Response:
    place = office()
    with place.database.write() as work:
        accounts.end_sign_in(work, token())
    session.clear()
    answer = make_response(redirect(url_for("door.sign_in"), 303))
    answer.delete_cookie(
        cookie_name(place.settings, "sign-in"),
        path="/",
        secure=place.settings.https,
        httponly=True,
        samesite="Lax",
    )
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


@blueprint.get("/my-password")
@for_staff
def my_password() -> str:
    return render_template("my_password.html", shortest=SHORTEST)


@blueprint.post("/my-password")
@for_staff
def change_my_password() -> tuple[str, int] | Response:
    looker, place = here(), office()
    member = looker.member
    wrong = ""
    if (
        member is None
        or accounts.check_password(place.database, looker.name, request.form.get("present", ""), at=looker.at) is None
    ):
        wrong = "The present password is not right. Nothing was changed."
    elif request.form.get("password", "") != request.form.get("again", ""):
        wrong = "The two new passwords are not the same. Nothing was changed."
    else:
        try:
            with place.database.write() as work:
                accounts.set_password(work, member.account_id, request.form.get("password", ""), keep_token=token())
        except PasswordRefused as refused:
            wrong = str(refused)
    if wrong:
        return render_template("my_password.html", shortest=SHORTEST, wrong=wrong), 400
    flash("Your password is changed. Anywhere else where you were signed in, you are signed out.", "good")
    return redirect(url_for("door.my_password"), 303)
