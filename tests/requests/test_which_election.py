"""Two elections open at once: which one a message is about, and that nobody's ballot is voided on a guess."""

from __future__ import annotations

from pathlib import Path

import pytest

from replacements.proposals.types import Action
from replacements.requests.deciding import Refused, Stale
from tests.requests.conftest import MONDAY, OfficeAtWork
from tests.requests.several import (
    ADA,
    PRIMARY,
    RUNOFF,
    SPOILED,
    approve,
    choose,
    from_ada,
    open_beside,
    reply_to,
    states,
)

ADAS_RUNOFF = "5200001,61000001,12-A,issued,2026-10-01,,,"
WHICH = "trade.which_election"


@pytest.fixture
def both(at_work: OfficeAtWork, tmp_path: Path) -> tuple[OfficeAtWork, str]:
    """The general election and a runoff: Ada has a ballot of each. On SQLite and on PostgreSQL."""
    return at_work, open_beside(at_work, RUNOFF, ADAS_RUNOFF, tmp_path=tmp_path)


@pytest.fixture
def one_only(on_sqlite: OfficeAtWork, tmp_path: Path) -> tuple[OfficeAtWork, str]:
    """The same, but Ada has a ballot of the general election alone."""
    return on_sqlite, open_beside(on_sqlite, RUNOFF, tmp_path=tmp_path)


@pytest.fixture
def both_here(on_sqlite: OfficeAtWork, tmp_path: Path) -> tuple[OfficeAtWork, str]:
    return on_sqlite, open_beside(on_sqlite, RUNOFF, ADAS_RUNOFF, tmp_path=tmp_path)


def test_a_voter_with_both_ballots_who_names_neither_is_put_before_a_person(both: tuple[OfficeAtWork, str]) -> None:
    at_work, runoff = both
    request = from_ada(at_work)
    assert (request.proposal, request.standing, request.state) == ("read", "certain", "waiting")
    (reason,) = request.reasons
    assert reason["rule"] == WHICH
    assert "Runoff election, October 20, 2026" in reason["text"]
    assert "General election, November 3, 2026" in reason["text"]
    assert set(request.judged["elections"]) == {runoff, at_work.election_id}
    assert request.reply_draft is None


def test_nothing_is_voided_before_a_person_has_chosen_the_election(both: tuple[OfficeAtWork, str]) -> None:
    at_work, _ = both
    request = from_ada(at_work)
    for action in (Action.REISSUE, Action.SEND_MATERIALS, Action.STATEMENT_FIRST, Action.STOP_REISSUE):
        with pytest.raises(Refused, match="Choose first which election"):
            approve(at_work, request, action=action, note="she called")
    assert at_work.ballots(ADA) == {"5100001": "issued", "5200001": "issued"}


def test_what_a_person_chose_is_judged_by_that_elections_rules_and_the_other_ballot_stays(
    both: tuple[OfficeAtWork, str],
) -> None:
    at_work, runoff = both
    request = from_ada(at_work)
    assert choose(at_work, request, runoff) == [request.id]
    chosen = at_work.request(request.id)
    assert (chosen.election_id, chosen.proposal, chosen.judged["election_by"]) == (runoff, "reissue", "person")
    outcome = approve(at_work, chosen)
    assert outcome.issued.startswith("6")  # the runoff's own prefix
    assert states(at_work, ADA, at_work.election_id) == {"5100001": "issued"}
    assert states(at_work, ADA, runoff) == {"5200001": "voided", outcome.issued: "issued"}
    assert "Runoff election, Tuesday, October 20, 2026" in reply_to(at_work.database, request.id).text


def test_a_letter_about_both_ballots_becomes_a_request_for_each(both: tuple[OfficeAtWork, str]) -> None:
    at_work, runoff = both
    request = from_ada(at_work, SPOILED.format(ballot="ballots, both of them"))
    first, second = choose(at_work, request, at_work.election_id, runoff)
    assert first == request.id
    for number, election_id in ((first, at_work.election_id), (second, runoff)):
        found = at_work.request(number)
        assert (found.election_id, found.proposal, found.message_id) == (election_id, "reissue", request.message_id)
        approve(at_work, found)
    assert list(at_work.ballots(ADA).values()).count("voided") == 2


def test_a_choice_made_on_an_older_page_changes_nothing(both_here: tuple[OfficeAtWork, str]) -> None:
    at_work, runoff = both_here
    request = from_ada(at_work)
    choose(at_work, request, runoff)
    with pytest.raises(Stale):
        choose(at_work, request, at_work.election_id)
    assert at_work.request(request.id).election_id == runoff


def test_a_voter_with_one_ballot_out_is_meant_by_it(one_only: tuple[OfficeAtWork, str]) -> None:
    at_work, _ = one_only
    request = from_ada(at_work)
    assert (request.election_id, request.proposal) == (at_work.election_id, "reissue")
    assert request.judged["election_by"] == "ballots"
    approve(at_work, request)
    assert "General election, Tuesday, November 3, 2026" in reply_to(at_work.database, request.id).text


@pytest.mark.parametrize(
    ("words", "kind"),
    [
        ("runoff ballot", "runoff"),
        ("run-off election ballot", "runoff"),
        ("ballot for the runoff", "runoff"),
        ("ballot for October 20", "runoff"),
        ("ballot for the October election", "runoff"),
        ("general election ballot", "general"),
        ("mail ballot for the general", "general"),
        ("November ballot", "general"),
        ("11/3 election ballot", "general"),
    ],
)
def test_the_words_decide_where_both_ballots_are_out(
    both_here: tuple[OfficeAtWork, str], words: str, kind: str
) -> None:
    at_work, runoff = both_here
    request = from_ada(at_work, SPOILED.format(ballot=words))
    assert request.election_id == {"runoff": runoff, "general": at_work.election_id}[kind]
    assert (request.proposal, request.judged["election_by"]) == ("reissue", "words")


@pytest.mark.parametrize(
    "words",
    [
        "ballot. I voted in the runoff",  # said in passing
        "ballot, not the runoff one but the general election ballot",
        "primary ballot",  # of no election that is open
        "runoff ballot and my general election ballot",
    ],
)
def test_words_that_leave_it_open_decide_nothing(both_here: tuple[OfficeAtWork, str], words: str) -> None:
    at_work, _ = both_here
    request = from_ada(at_work, SPOILED.format(ballot=words))
    assert (request.proposal, request.reasons[0]["rule"]) == ("read", WHICH)


def test_words_that_the_voters_ballots_contradict_go_to_a_person(one_only: tuple[OfficeAtWork, str]) -> None:
    at_work, _ = one_only
    request = from_ada(at_work, SPOILED.format(ballot="runoff ballot"))
    assert (request.proposal, request.reasons[0]["rule"]) == ("read", WHICH)


def test_the_subject_names_the_election_unless_it_is_of_an_older_letter(both_here: tuple[OfficeAtWork, str]) -> None:
    at_work, runoff = both_here
    assert from_ada(at_work, subject="Runoff election, spoiled").election_id == runoff
    older = from_ada(at_work, subject="Re: Runoff election, spoiled", answers="<nothing-known@post.example>")
    assert older.reasons[0]["rule"] == WHICH


def test_a_ballots_number_says_which_election_it_is(both_here: tuple[OfficeAtWork, str]) -> None:
    at_work, runoff = both_here
    request = from_ada(at_work, SPOILED.format(ballot="ballot number 5200001"))
    assert (request.election_id, request.judged["election_by"]) == (runoff, "number")


def test_an_answer_is_about_the_election_of_its_thread(both_here: tuple[OfficeAtWork, str]) -> None:
    at_work, runoff = both_here
    text = "Please send me another runoff ballot, I spoiled mine by marking the wrong oval. Ada Quillfeather\n"
    request = from_ada(at_work, text, sender="Ada <someone@elsewhere.example>")
    assert (request.proposal, request.election_id) == ("ask_identity", runoff)
    approve(at_work, request)
    details = "Born March 7, 1958, 14 Otter Bank Rd, Eelpoint.\n\nAda Quillfeather\n"
    answered = from_ada(
        at_work,
        details,
        sender="Ada <someone@elsewhere.example>",
        answers=reply_to(at_work.database, request.id).message_id,
    )
    assert (answered.election_id, answered.judged["election_by"]) == (runoff, "thread")


def test_a_question_who_is_writing_needs_no_election_and_its_thread_tells_none(
    both_here: tuple[OfficeAtWork, str],
) -> None:
    at_work, _ = both_here
    text = "Please send me another ballot, I spoiled mine by marking the wrong oval. Ada Quillfeather\n"
    request = from_ada(at_work, text, sender="Ada <someone@elsewhere.example>")
    assert (request.proposal, request.judged["election_by"]) == ("ask_identity", "undecided")
    approve(at_work, request)
    reply = reply_to(at_work.database, request.id)
    assert "Runoff election" not in reply.text
    assert "General election" not in reply.text
    details = "Born March 7, 1958, 14 Otter Bank Rd, Eelpoint.\n\nAda Quillfeather\n"
    answered = from_ada(at_work, details, sender="Ada <someone@elsewhere.example>", answers=reply.message_id)
    assert (answered.proposal, answered.judged["election_by"]) == ("read", "undecided")


def test_an_old_ballot_that_can_no_longer_count_does_not_make_it_doubtful(
    on_sqlite: OfficeAtWork, tmp_path: Path
) -> None:
    open_beside(on_sqlite, PRIMARY, "5300001,61000001,12-A,issued,2026-08-20,,,", tmp_path=tmp_path)
    while_it_counts = from_ada(on_sqlite)
    assert while_it_counts.reasons[0]["rule"] == WHICH
    afterwards = MONDAY.replace(day=13)  # the primary's last ballots counted on October 9
    request = from_ada(on_sqlite, at=afterwards, sender="Ada <ada.q@post.example>")
    assert (request.election_id, request.judged["election_by"]) == (on_sqlite.election_id, "ballots")


def test_a_ballot_that_is_back_is_not_the_one_that_was_spoiled(on_sqlite: OfficeAtWork, tmp_path: Path) -> None:
    open_beside(on_sqlite, PRIMARY, "5300001,61000001,12-A,accepted,2026-08-20,2026-09-20,,", tmp_path=tmp_path)
    request = from_ada(on_sqlite)
    assert (request.election_id, request.proposal) == (on_sqlite.election_id, "reissue")


def test_a_general_question_with_one_answer_is_answered_and_one_with_two_goes_to_a_person(
    both_here: tuple[OfficeAtWork, str],
) -> None:
    at_work, _ = both_here
    (pen,) = at_work.receive("Which pen may I use to mark my ballot? Can it be a blue pen?", subject="a question")
    assert (pen.proposal, pen.judged["topics"][0]) == ("answer", "pen")
    (deadline,) = at_work.receive(
        "By when do you need to have my mail ballot back? What is the deadline?", subject="a question"
    )
    assert (deadline.proposal, deadline.reasons[0]["rule"]) == ("read", WHICH)
    (runoff,) = at_work.receive(
        "What is the deadline to return the ballot for the runoff election?", subject="a question"
    )
    assert runoff.proposal == "answer"
    assert "October 20" in (runoff.reply_draft or {})["text"]


def test_with_one_election_open_a_letter_is_judged_as_ever(on_sqlite: OfficeAtWork) -> None:
    request = from_ada(on_sqlite, SPOILED.format(ballot="primary ballot"))
    assert (request.election_id, request.proposal) == (on_sqlite.election_id, "reissue")
    assert "election_by" not in request.judged


def test_a_voter_put_in_anothers_place_brings_ballots_of_their_own(on_sqlite: OfficeAtWork, tmp_path: Path) -> None:
    """Oren has a ballot of the runoff too: what Ada's ballots told says nothing of his."""
    open_beside(on_sqlite, RUNOFF, "5200003,61000003,12-A,issued,2026-10-01,,,", tmp_path=tmp_path)
    request = from_ada(on_sqlite)
    assert request.judged["election_by"] == "ballots"
    with pytest.raises(Refused, match="which election"):
        approve(on_sqlite, request, voter_id="61000003", action=Action.REISSUE, note="it is his")
