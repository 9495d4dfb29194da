"""An office's rules: what may be left out, and that every mistake is named, with its line, in one pass."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from replacements.rules.office import Mistake, Rules, RulesError, load_rules, parse_rules, sha256_of

SHORTEST = """
[office]
name = "Saltgrass County Elections"
address = "ballots@saltgrass.example"
phone = "(555) 555-0140"
in_person = "12 Ferry Lane, Saltgrass"
time_zone = "America/Chicago"
[election]
name = "Primary"
date = 2027-03-02
[dates]
last_request_by_mail = 2027-02-23T17:00:00
last_in_person = 2027-03-01T17:00:00
return_rule = "received"
return_by = 2027-03-02T20:00:00
"""


def mistakes_of(text: str) -> tuple[Mistake, ...]:
    with pytest.raises(RulesError) as caught:
        parse_rules(text, "rules.toml")
    return caught.value.mistakes


def only_mistake(text: str) -> Mistake:
    found = mistakes_of(text)
    assert len(found) == 1, "\n".join(map(str, found))
    return found[0]


def test_a_whole_file_is_read_as_it_stands(saltgrass: Rules) -> None:
    assert saltgrass.office.name == "Saltgrass County Elections"
    assert saltgrass.election.date == date(2026, 11, 3)
    assert saltgrass.dates.return_by == datetime(2026, 11, 4, 0, 30, tzinfo=UTC)  # after the clocks went back
    assert saltgrass.dates.last_request_by_mail == datetime(2026, 10, 27, 21, 0, tzinfo=UTC)  # before
    assert saltgrass.statement.witness
    assert saltgrass.reason("not_received").wait_days == 10
    assert saltgrass.mailing.extra_closed == (date(2026, 10, 16),)
    assert saltgrass.mailing.contents[-1] == "identification notice if required"
    assert saltgrass.transit.outbound == {1: 0.5, 2: 0.5}


def test_what_an_office_leaves_out_is_as_the_trade_does_it() -> None:
    rules = parse_rules(SHORTEST)
    assert rules.dates.packets_from == date(2027, 1, 16)
    assert rules.dates.grace_until == rules.dates.return_by
    assert rules.replacements.original == "void"
    assert rules.approval.by == "staff"
    assert rules.retention.months == 22
    assert rules.mailing.days == ("mon", "tue", "wed", "thu", "fri")
    assert rules.mailing.service_type == ""
    assert rules.reason("stolen").two_people
    assert rules.reason("lost").statement
    assert not rules.reason("spoiled").statement
    assert rules.office.languages == ("en",)


def test_a_reason_left_out_of_a_given_section_keeps_its_default(saltgrass: Rules) -> None:
    assert saltgrass.reason("lost").statement
    with pytest.raises(KeyError):
        saltgrass.reason("bored")


def test_a_drop_box_without_days_is_open_from_the_first_packets_to_the_last_day(saltgrass: Rules) -> None:
    box = saltgrass.drop_boxes[0]
    assert (box.open, box.close) == (date(2026, 9, 18), date(2026, 11, 3))


def test_voters_overseas_have_their_own_dates_where_the_office_gives_them(saltgrass: Rules) -> None:
    own = saltgrass.dates_for(overseas=True)
    assert own.last_request_by_mail == datetime(2026, 11, 2, 22, 0, tzinfo=UTC)
    assert own.grace_until == datetime(2026, 11, 12, 22, 0, tzinfo=UTC)
    assert own.return_by == saltgrass.dates.return_by
    assert saltgrass.dates_for(overseas=False) is saltgrass.dates
    assert saltgrass.last_request_text(overseas=True) == "November 2, 2026 at 5:00 pm"


def test_rules_are_not_changed_after_loading(saltgrass: Rules) -> None:
    with pytest.raises(ValueError, match="frozen"):
        saltgrass.office.__setattr__("name", "Another")


def test_headings_may_be_given_for_both_files_at_once_or_for_each() -> None:
    flat = parse_rules(SHORTEST + '[columns]\nvoter_id = "VUID"\nstyle = "Ballot Type"\nbirth_date = "DOB"\n')
    assert flat.columns.roll == {"voter_id": "VUID", "style": "Ballot Type", "birth_date": "DOB"}
    assert flat.columns.ballots == {"voter_id": "VUID", "style": "Ballot Type"}
    each = parse_rules(SHORTEST + '[columns.roll]\nvoter_id = "A"\n[columns.ballots]\nvoter_id = "B"\n')
    assert (each.columns.roll["voter_id"], each.columns.ballots["voter_id"]) == ("A", "B")


def test_a_heading_for_a_column_that_is_not_ours_is_a_mistake() -> None:
    found = only_mistake(SHORTEST + '[columns]\nvoter_idd = "VUID"\n')
    assert found.entry == "columns.voter_idd"
    assert "voter_id" in found.expected


def test_every_mistake_of_a_file_is_named_in_one_pass_with_its_line(saltgrass_text: str) -> None:
    text = (
        saltgrass_text.replace("cut_off = 14:30:00", "cutoff = 14:30:00")
        .replace('mailer_id = "123456"', 'mailer_id = "923456"')
        .replace("inbound = { 1 = 0.5, 2 = 0.5 }", "inbound = { 1 = 0.5, 2 = 0.6 }")
        .replace("witness = true", 'witness = "yes"')
        .replace("grace_until = 2026-11-06T17:00:00", "grace_until = 2026-11-01T17:00:00")
        .replace('"America/New_York"', '"America/New_Yorck"')
    )
    found = mistakes_of(text)
    assert [mistake.entry for mistake in found] == [
        "office.time_zone",
        "dates.grace_until",
        "statement.witness",
        "mailing.cutoff",
        "mailing.mailer_id",
        "transit.inbound",
    ]
    lines = text.splitlines()
    for mistake in found:
        assert mistake.entry.rsplit(".", 1)[1] in lines[mistake.line - 1]
        assert mistake.file == "rules.toml"
        assert mistake.found
        assert mistake.expected
        assert mistake.example
    assert "mailing.cut_off" in found[3].expected
    assert "1.100" in found[5].expected


def test_the_list_of_mistakes_reads_as_a_list_for_people() -> None:
    with pytest.raises(RulesError) as caught:
        parse_rules(SHORTEST.replace('"received"', '"arrived"'), "rules.toml")
    assert str(caught.value) == (
        "The office's rules cannot be used: 1 mistake.\n"
        '- rules.toml, line 14: dates.return_rule: found "arrived"; expected "received" or "postmarked". '
        'Example: return_rule = "postmarked"'
    )


@pytest.mark.parametrize(
    ("before", "after", "entry"),
    [
        ('service_type = "270"', 'service_type = "739"', "mailing.service_type"),  # withdrawn for ballots
        ('service_type = "270"', 'service_type = "27"', "mailing.service_type"),
        ('mailer_id = "123456"', 'mailer_id = "1234567"', "mailing.mailer_id"),
        ('mailer_id = "123456"', 'mailer_id = "812345678"', "mailing.mailer_id"),
        ("threshold = 0.75", "threshold = 75", "transit.threshold"),
        ("{ 0 = 0.5, 1 = 0.5 }", "{ 0 = 0.5, -1 = 0.5 }", "transit.kept_by_voter"),
        ("{ 0 = 0.5, 1 = 0.5 }", "{ 0 = 0.5, 1 = nan }", "transit.kept_by_voter"),
        ("spoiled = {", "spoilt = {", "reasons.spoilt"),
        ("wait_days = 10", "wait_days = -1", "reasons.not_received.wait_days"),
        ("wait_days = 10", "wait = 10", "reasons.not_received.wait"),
        ('holidays = "US"', 'holidays = "Atlantis"', "mailing.holidays"),
        ("cut_off = 14:30:00", 'cut_off = "half past two"', "mailing.cut_off"),
        ('"thu", "fri"]', '"thu", "fri", "mon"]', "mailing.days"),
        ('"thu", "fri"]', '"thu", "friday"]', "mailing.days[5]"),
        ("2026-10-27T17:00:00", "2026-10-27", "dates.last_request_by_mail"),  # a day has no last moment
        ("2026-10-27T17:00:00", "2026-11-27T17:00:00", "dates.last_request_by_mail"),
        ("return_by = 2026-11-03", "return_by = 2025-11-03", "dates.return_by"),
        ("close = 2026-10-31", "close = 2026-10-01", "drop_boxes[2].close"),
        ("packets_from = 2026-09-18", "packets_from = 2026-12-18", "dates.packets_from"),
        ('address = "ballots@saltgrass.example"', 'address = "ballots at saltgrass"', "office.address"),
        ('name = "Saltgrass County Elections"', 'name = " "', "office.name"),
        ('phone = "(555) 555-0140"', "", "office.phone"),
        ('languages = ["en", "es"]', 'languages = ["English"]', "office.languages"),
        ("[columns.roll]", "[colums.roll]", "colums"),
        ('number_prefix = "8"', "number_prefix = 8", "mailing.number_prefix"),
    ],
)
def test_a_mistake_is_found_where_it_is(saltgrass_text: str, before: str, after: str, entry: str) -> None:
    assert before in saltgrass_text
    assert entry in [mistake.entry for mistake in mistakes_of(saltgrass_text.replace(before, after, 1))]


def test_an_entry_in_the_wrong_section_is_sent_to_its_own(saltgrass_text: str) -> None:
    found = only_mistake(saltgrass_text.replace("[statement]\n", "[statement]\nmost_per_voter = 4\n"))
    assert "replacements.most_per_voter" in found.expected


def test_grace_is_not_asked_for_where_ballots_must_be_received(saltgrass_text: str) -> None:
    text = saltgrass_text.replace('"postmarked"', '"received"')
    assert parse_rules(text.replace("grace_until = 2026-11-06T17:00:00", "grace_until = 2026-11-01T17:00:00"))


def test_a_date_of_overseas_voters_is_checked_against_the_others(saltgrass_text: str) -> None:
    text = saltgrass_text.replace("grace_until = 2026-11-12T17:00:00", "grace_until = 2026-11-02T17:00:00")
    assert only_mistake(text).entry == "dates.overseas.grace_until"


@pytest.mark.parametrize(
    ("text", "line", "expected"),
    [
        ("[office]\nname = Saltgrass\n", 2, 'in "quotes"'),
        ("[mailing]\ncut_off = 15:00\n", 2, "seconds"),
        ("[dates]\nreturn_by = 2026-11-03T20:00 # evening\n", 2, "seconds"),
        ("[office]\nname = 'a'\nname = 'b'\n", 3, "once"),
    ],
)
def test_a_file_that_is_not_toml_names_the_line(text: str, line: int, expected: str) -> None:
    found = next(mistake for mistake in mistakes_of(text) if mistake.line == line)
    assert expected in found.expected
    assert found.example


def test_a_missing_file_is_a_mistake_with_its_path(tmp_path: Path) -> None:
    with pytest.raises(RulesError, match=r"nowhere\.toml"):
        load_rules(tmp_path / "nowhere.toml")


def test_a_file_in_another_encoding_names_the_line(tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_bytes('[office]\nname = "Señal County"\n'.encode("cp1252"))
    with pytest.raises(RulesError) as caught:
        load_rules(path)
    assert caught.value.mistakes[0].line == 2


def test_a_file_with_a_byte_order_mark_is_read(tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_text(SHORTEST, encoding="utf-8-sig")
    assert load_rules(path).election.name == "Primary"


def test_the_hash_that_is_adopted_changes_with_every_character() -> None:
    assert sha256_of("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"  # FIPS 180-4 example
    assert sha256_of(SHORTEST) != sha256_of(SHORTEST + " ")


def test_facts_that_are_only_enough_together_are_joined_by_a_plus_sign(saltgrass_text: str) -> None:
    guarded = parse_rules(saltgrass_text + '\n[identity]\nwith_name = ["birth_date", "address + phone_on_file"]\n')
    assert guarded.identity.with_name == ("birth_date", "address+phone_on_file")
    with pytest.raises(RulesError, match=r"identity\.with_name"):
        parse_rules(saltgrass_text + '\n[identity]\nwith_name = ["address+shoe_size"]\n')
