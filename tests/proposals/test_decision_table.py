"""What is proposed, row by row, as an office would say it; and that every situation is decided, none wrongly."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import product
from pathlib import Path

from replacements.proposals.situation import SURE_ENOUGH_TO_VOID, Situation
from replacements.proposals.table import ROWS, propose
from replacements.proposals.types import Action, BallotOnRecord
from replacements.reading.types import Cause, Flag, Kind
from replacements.roll.types import Standing, Voter
from replacements.rules.office import Rules, load_rules

RULES = load_rules(Path(__file__).parents[1] / "rules" / "saltgrass.toml")
OUT = BallotOnRecord("5100001", "issued", "12-A", date(2026, 9, 18))
VOTER = Voter("61000001", "Quill", "Ada", style="12-A")


def asking(*kinds: Kind, **more: object) -> Situation:
    """A certain voter with a ballot out who asks for these kinds, in time."""
    return replace(
        Situation(
            rules=RULES,
            kinds=dict.fromkeys(kinds, 0.95),
            standing=Standing.CERTAIN,
            voter=VOTER,
            ballot=OUT,
            chance=0.97,
            cause=Cause.SPOILED if Kind.SPOILED_BALLOT in kinds else None,
        ),
        **more,  # type: ignore[arg-type]
    )


def with_rules(**sections: dict[str, object]) -> Rules:
    return RULES.model_copy(
        update={name: getattr(RULES, name).model_copy(update=values) for name, values in sections.items()}
    )


def action(situation: Situation) -> Action:
    return propose(situation).action


def test_a_certain_voter_with_a_spoiled_ballot_gets_another() -> None:
    proposal = propose(asking(Kind.SPOILED_BALLOT, cause=Cause.SPOILED))
    assert proposal.action is Action.REISSUE
    assert not proposal.two_people
    assert proposal.reasons[0].rule == "reasons.spoiled"


def test_voiding_wants_a_surer_reading_than_asking() -> None:
    thin = SURE_ENOUGH_TO_VOID - 0.05
    assert action(asking(Kind.SPOILED_BALLOT, kinds={Kind.SPOILED_BALLOT: thin})) is Action.READ
    assert action(asking(Kind.NOT_RECEIVED, kinds={Kind.NOT_RECEIVED: thin})) is Action.STATEMENT_FIRST


def test_who_has_a_replacement_and_asks_about_it_is_read_by_a_person() -> None:
    asks = asking(Kind.SPOILED_BALLOT, Kind.QUESTION, flags=frozenset({Flag.ALREADY_REPLACED}))
    assert action(asks) is Action.READ
    assert action(asking(Kind.SPOILED_BALLOT, flags=frozenset({Flag.ALREADY_REPLACED}))) is Action.REISSUE


def test_a_wish_without_a_reason_goes_to_a_person() -> None:
    proposal = propose(asking(Kind.SPOILED_BALLOT, cause=None))
    assert (proposal.action, proposal.reasons[0].rule) == (Action.READ, "reasons")


def test_a_lost_ballot_needs_a_signed_statement_first() -> None:
    proposal = propose(asking(Kind.NOT_RECEIVED, cause=Cause.LOST))
    assert proposal.action is Action.STATEMENT_FIRST
    assert proposal.reasons[0].rule == "reasons.lost.statement"


def test_where_a_mail_tells_both_the_stricter_rule_holds() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED, cause=Cause.SPOILED)) is Action.STATEMENT_FIRST


def test_a_packet_mailed_two_days_ago_does_not_count_as_not_received() -> None:
    assert action(asking(Kind.NOT_RECEIVED, cause=Cause.NOT_RECEIVED, mailed_long_ago=False)) is Action.ANSWER


def test_a_packet_that_the_post_brought_back_follows_the_rule_for_undeliverable() -> None:
    ballot = replace(OUT, state="undeliverable")
    assert propose(asking(Kind.NOT_RECEIVED, ballot=ballot)).reasons[0].rule == "reasons.undeliverable.statement"


def test_a_packet_without_a_ballot_is_a_ballot_not_received() -> None:
    situation = asking(Kind.MISSING_MATERIALS, flags=frozenset({Flag.BALLOT_MISSING}))
    assert action(situation) is Action.STATEMENT_FIRST


def test_a_missing_envelope_is_sent_and_no_ballot_is_voided() -> None:
    assert action(asking(Kind.MISSING_MATERIALS)) is Action.SEND_MATERIALS


def test_two_voters_who_fit_are_asked_apart() -> None:
    situation = asking(Kind.SPOILED_BALLOT, standing=Standing.UNCLEAR, voter=None, ballot=None)
    assert action(situation) is Action.ASK_IDENTITY


def test_thin_evidence_is_asked_for_more() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, standing=Standing.LIKELY)) is Action.ASK_IDENTITY


def test_a_ballot_that_came_back_cannot_be_replaced() -> None:
    for state in ("returned", "accepted", "challenged"):
        assert action(asking(Kind.SPOILED_BALLOT, ballot=replace(OUT, state=state))) is Action.ALREADY_BACK


def test_a_voter_without_a_ballot_is_told_how_to_apply() -> None:
    assert action(asking(Kind.NOT_RECEIVED, ballot=None)) is Action.NO_BALLOT_OUT


def test_after_the_last_moment_for_post_the_voter_comes_in() -> None:
    proposal = propose(asking(Kind.SPOILED_BALLOT, too_late=True))
    assert proposal.action is Action.COME_IN
    assert proposal.reasons[0].rule == "dates.last_request_by_mail"


def test_a_packet_that_cannot_be_back_in_time_is_not_mailed() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, chance=0.0)) is Action.COME_IN


def test_a_thin_chance_is_said_with_the_reissue() -> None:
    reasons = propose(asking(Kind.SPOILED_BALLOT, chance=0.4)).reasons
    assert reasons[-1].rule == "transit.threshold"


def test_somebody_elses_word_voids_no_ballot() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, own_request=False, relation="father")) is Action.READ


def test_a_sender_who_fails_authentication_goes_to_a_person() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, sender_failed=True)) is Action.READ


def test_a_letter_of_which_only_the_beginning_was_judged_goes_to_a_person() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, too_long=True)) is Action.READ


def test_a_mail_that_hides_text_goes_to_a_person() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, hides_text=True)) is Action.READ


def test_a_replacement_to_a_new_address_needs_the_form() -> None:
    proposal = propose(asking(Kind.SPOILED_BALLOT, Kind.ADDRESS_CHANGE))
    assert proposal.action is Action.SEND_FORM
    assert proposal.form == RULES.address_change.form


def test_a_second_address_that_is_not_on_record_may_be_where_the_ballot_is_wanted() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, another_place=True)) is Action.SEND_FORM
    assert action(asking(Kind.QUESTION, another_place=True, topics=("deadline",))) is Action.ANSWER


def test_where_the_rules_take_address_changes_by_mail_two_people_agree() -> None:
    rules = with_rules(address_change={"by_email": "two_people"})
    proposal = propose(asking(Kind.SPOILED_BALLOT, Kind.ADDRESS_CHANGE, rules=rules))
    assert (proposal.action, proposal.two_people) == (Action.REISSUE, True)


def test_the_replacement_after_the_allowed_ones_needs_two_people() -> None:
    rules = with_rules(replacements={"two_people_from": 3})
    third = replace(OUT, replaces="5100000", replacements_before=2)
    assert propose(asking(Kind.SPOILED_BALLOT, ballot=third, rules=rules)).two_people
    second = replace(OUT, replaces="5100000", replacements_before=1)
    assert not propose(asking(Kind.SPOILED_BALLOT, ballot=second, rules=rules)).two_people


def test_a_request_that_names_a_ballot_already_replaced_needs_two_people() -> None:
    assert propose(asking(Kind.SPOILED_BALLOT, names_voided_ballot=True)).two_people


def test_one_ballot_is_replaced_once_although_asked_for_twice() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, earlier_open=17)) is Action.READ
    assert action(asking(Kind.SPOILED_BALLOT, replacement_waits=True)) is Action.READ


def test_a_voter_who_says_the_ballot_is_in_the_post_goes_to_a_person() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, flags=frozenset({Flag.BALLOT_ALREADY_SENT}))) is Action.READ


def test_found_it_stops_the_replacement() -> None:
    assert action(asking(Kind.WITHDRAWAL)) is Action.STOP_REISSUE


def test_found_it_after_the_replacement_is_mailed_goes_to_a_person() -> None:
    mailed = replace(OUT, replaces="5100000", replacements_before=1)
    assert action(asking(Kind.WITHDRAWAL, ballot=mailed)) is Action.READ


def test_a_message_that_wants_both_goes_to_a_person() -> None:
    assert action(asking(Kind.WITHDRAWAL, Kind.SPOILED_BALLOT)) is Action.READ


def test_who_wants_no_other_ballot_and_asked_for_none_has_the_question_answered() -> None:
    situation = asking(Kind.WITHDRAWAL, Kind.QUESTION, topics=("deadline",))
    assert action(situation) is Action.ANSWER
    assert action(replace(situation, replacement_waits=True)) is Action.STOP_REISSUE
    assert action(replace(situation, earlier_open=7)) is Action.STOP_REISSUE


def test_a_question_with_a_reviewed_text_is_answered_whoever_asks() -> None:
    situation = asking(Kind.QUESTION, topics=("deadline", "postage"), standing=None, voter=None, ballot=None)
    assert propose(situation).topics == ("deadline", "postage")


def test_machine_mail_is_dropped_and_a_threat_never_is() -> None:
    assert action(asking(Kind.AUTOMATIC, standing=None)) is Action.DROP
    threat = asking(Kind.OTHER, standing=None, flags=frozenset({Flag.THREAT, Flag.JUNK}))
    assert action(threat) is Action.READ


def test_advertising_is_dropped_the_press_is_read() -> None:
    assert action(asking(Kind.OTHER, standing=None, flags=frozenset({Flag.JUNK}))) is Action.DROP
    assert action(asking(Kind.OTHER, standing=None, flags=frozenset({Flag.PRESS}))) is Action.READ


def test_a_language_without_reviewed_replies_goes_to_a_person() -> None:
    assert action(asking(Kind.SPOILED_BALLOT, language="fr")) is Action.READ


def test_a_signed_statement_that_came_along_is_looked_at() -> None:
    situation = asking(Kind.DETAILS, Kind.NOT_RECEIVED, flags=frozenset({Flag.STATEMENT_ATTACHED}))
    assert action(situation) is Action.READ


def test_every_row_can_be_reached() -> None:
    reached = {id(next(row for row in ROWS if row.when(s))) for s in _every_situation()}
    missing = [row.text for row in ROWS if id(row) not in reached]
    assert missing == []


def test_every_situation_has_one_proposal_and_a_reissue_is_never_forbidden() -> None:
    decided = 0
    for situation in _every_situation():
        proposal = propose(situation)
        decided += 1
        assert proposal.reasons
        if proposal.action is not Action.REISSUE:
            continue
        assert situation.standing is Standing.CERTAIN
        assert situation.own_request
        assert not situation.sender_failed
        assert not situation.too_late
        assert situation.ballot is not None
        assert situation.ballot.state in ("issued", "undeliverable")
        assert Kind.WITHDRAWAL not in situation.kinds
        assert not RULES.reason(situation.why_wanted.value).statement
        assert proposal.two_people or not situation.names_voided_ballot
    assert decided > 30_000


def _every_situation() -> list[Situation]:
    kinds = [(k,) for k in Kind] + [
        (Kind.SPOILED_BALLOT, Kind.ADDRESS_CHANGE),
        (Kind.SPOILED_BALLOT, Kind.WITHDRAWAL),
        (Kind.SPOILED_BALLOT, Kind.QUESTION),
        (Kind.WITHDRAWAL, Kind.QUESTION),
        (Kind.NOT_RECEIVED, Kind.DETAILS),
    ]
    ballots = [None] + [
        BallotOnRecord("5100001", state, "12-A", date(2026, 9, 18), replaces, before, waits)
        for state in ("issued", "undeliverable", "returned", "accepted", "voided", "suspended")
        for replaces, before, waits in (("", 0, False), ("5100000", 2, False), ("5100000", 1, True))
    ]
    flags = [frozenset(), *(frozenset({flag}) for flag in Flag)]
    base = asking(Kind.OTHER)
    found = []
    for kind, standing, ballot, flag in product(kinds, (None, *Standing), ballots, flags):
        situation = replace(
            base,
            kinds=dict.fromkeys(kind, 0.95),
            standing=standing,
            ballot=ballot,
            flags=flag,
            replacement_waits=bool(ballot and ballot.replacement_waits),
        )
        found.append(situation)
        if not flag:
            found += [
                replace(situation, too_late=True),
                replace(situation, own_request=False),
                replace(situation, sender_failed=True),
                replace(situation, chance=0.0),
                replace(situation, hides_text=True),
                replace(situation, too_long=True),
                replace(situation, undated=True),
                replace(situation, nobody_to_answer=True),
                replace(situation, earlier_open=3),
                replace(situation, mailed_long_ago=False),
                replace(situation, names_voided_ballot=True),
                replace(situation, topics=("deadline",)),
                replace(situation, language="fr"),
                replace(situation, kinds=dict.fromkeys(kind, 0.51)),
                replace(situation, kinds=dict.fromkeys(kind, SURE_ENOUGH_TO_VOID - 0.1), cause=Cause.SPOILED),
                *(replace(situation, cause=cause) for cause in Cause),
            ]
    return found


def test_nobody_on_the_roll_gets_no_ballot() -> None:
    situation = asking(Kind.SPOILED_BALLOT, standing=Standing.NONE, voter=None, ballot=None)
    assert action(situation) is Action.ASK_IDENTITY
