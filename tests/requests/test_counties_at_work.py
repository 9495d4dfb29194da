"""Six invented counties' mail with right answers, from the bytes to the proposal.

`counties/NAME/answers.jsonl` says for each message who it is about, what may be proposed, whose ballot may be replaced.

Each was written without any sight of the program and then looked at: these tests keep what was learned, they do not say
how a new county's mail would be read.
"""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from replacements.requests.rehearsal import load_office, rehearse

COUNTIES = Path(__file__).parent / "counties"
NAMES = sorted(folder.name for folder in COUNTIES.iterdir())
# A wife writes from her husband's account for both and says below that only her own is spoiled: he is named, too.
KNOWN = {"brackwater": {("d-114", "1731768")}}
SIMPLE = 0.75  # of those who should simply get another ballot; the rest go to a person or are asked
PROPOSED = 0.9

Json = dict[str, Any]


@cache
def judged(county: str) -> list[tuple[Json, Json]]:
    """(the right answer, what the program says) for every message."""
    folder = COUNTIES / county
    office = load_office(folder / "office.toml", folder / "roll.csv", folder / "ballots.csv")
    said = {str(answer["mail"]).removesuffix(".eml"): answer for answer in rehearse([folder / "mail"], office)}
    right = [json.loads(line) for line in (folder / "answers.jsonl").read_text(encoding="utf-8").splitlines()]
    assert len(said) == len(right)
    return [(answer, said[answer["id"]]) for answer in right]


@pytest.mark.parametrize("county", NAMES)
def test_no_ballot_is_replaced_that_must_not_be(county: str) -> None:
    for right, said in judged(county):
        with_two = {p["voter_id"] for p in right["about"] if "reissue" in p["proposal"]}
        for request in said["requests"]:
            if request["proposal"] == "reissue":
                allowed = {*right["may_reissue"], *(with_two if request["two_people"] else ())}
                assert request["voter_id"] in allowed, (right["id"], right["why"])


@pytest.mark.parametrize("county", NAMES)
def test_nobody_is_certain_who_is_not_meant(county: str) -> None:
    wrong = {
        (right["id"], request["voter_id"])
        for right, said in judged(county)
        for request in said["requests"]
        if request["standing"] == "certain"
        and request["voter_id"] not in {*right["may_reissue"], *(p["voter_id"] for p in right["about"])}
    }
    assert wrong <= KNOWN.get(county, set())


@pytest.mark.parametrize("county", NAMES)
def test_machine_mail_is_dropped_and_never_answered(county: str) -> None:
    machines = [said for right, said in judged(county) if right["kinds"] == ["automatic"]]
    assert len(machines) >= 4
    assert all(said["proposal"] == "drop" and said["reply"] is None for said in machines)


@pytest.mark.parametrize("county", NAMES)
def test_most_who_should_simply_get_another_ballot_are_proposed_one(county: str) -> None:
    simple = got = 0
    for right, said in judged(county):
        reissued = {r["voter_id"] for r in said["requests"] if r["proposal"] == "reissue"}
        for person in right["about"]:
            if person["voter_id"] in right["may_reissue"] and person["proposal"][0] == "reissue":
                simple += 1
                got += person["voter_id"] in reissued
    assert simple > 40
    assert got / simple >= SIMPLE


@pytest.mark.parametrize("county", NAMES)
def test_what_is_proposed_for_whoever_was_found_is_what_an_official_could_propose(county: str) -> None:
    proposals = [
        request["proposal"] in person["proposal"]
        for right, said in judged(county)
        for person in right["about"]
        for request in said["requests"]
        if person["voter_id"] and request["voter_id"] == person["voter_id"]
    ]
    assert sum(proposals) / len(proposals) >= PROPOSED
