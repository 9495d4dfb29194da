"""The decision table as a lawyer reads it, and reasons as a clerk reads them: whole sentences, no codes."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

from click.testing import CliRunner

from replacements.cli import main
from replacements.proposals.rows import ROWS
from replacements.proposals.table import propose
from replacements.proposals.table_page import HEADINGS, as_html, as_text, lines
from replacements.proposals.types import Action
from replacements.proposals.words import ACTION, CAUSE, STANDING, STATE
from replacements.reading.types import Cause, Kind
from replacements.roll.types import Standing
from replacements.rules.checks import _all_entries
from replacements.rules.office import Rules, load_rules, sha256_of
from replacements.store.tables import BALLOT_STATES
from tests.proposals.test_decision_table import OUT, RULES, _every_situation, asking, with_rules

FILE = Path(__file__).parents[1] / "rules" / "saltgrass.toml"
CODES = re.compile(r"[a-z]_[a-z]|\((?:unclear|none|likely|certain|spoiled|lost|issued|voided|en|es|fr|und)\)|None|[{}]")


def test_no_reason_that_is_shown_holds_a_code() -> None:
    shown = {reason.text for situation in _every_situation() for reason in propose(situation).reasons}
    assert [text for text in shown if CODES.search(text)] == []
    assert all(text[0].isupper() and text.endswith(".") for text in shown)


def test_a_reason_says_in_words_why_it_is_not_certain_who_writes() -> None:
    text = propose(asking(Kind.SPOILED_BALLOT, standing=Standing.UNCLEAR, voter=None, ballot=None)).reasons[0].text
    assert text.startswith("Not certain who writes: two or more voters fit.")


def test_a_reason_says_in_words_what_happened_to_the_ballot() -> None:
    text = propose(asking(Kind.NOT_RECEIVED, cause=Cause.LOST)).reasons[0].text
    assert text == "The rules want a signed statement before a ballot is replaced that was lost."


def test_a_day_in_a_reason_is_written_out() -> None:
    early = asking(Kind.NOT_RECEIVED, cause=Cause.NOT_RECEIVED, mailed_long_ago=False, ballot=OUT)
    assert "September 18, 2026" in propose(early).reasons[0].text


def test_every_code_of_the_trade_has_its_words() -> None:
    assert set(ACTION) == set(Action)
    assert set(CAUSE) == set(Cause)
    assert set(STANDING) == set(Standing)
    assert set(STATE) == set(BALLOT_STATES)


def test_every_row_states_its_condition_and_rests_on_a_rule_that_there_is() -> None:
    found = lines(RULES)
    assert [line.number for line in found] == list(range(1, len(ROWS) + 1))
    assert len({line.condition for line in found}) == len(found)
    entries = {*_all_entries(Rules), *(f"reasons.[reason]{more}" for more in ("", ".statement"))}
    assert [line.rule for line in found if not line.rule.startswith("trade.") and line.rule not in entries] == []
    assert [line.number for line in found if line.voids] == [1 + [row.action for row in ROWS].index(Action.REISSUE)]


def test_the_page_holds_every_row_in_order_and_loads_nothing() -> None:
    page = ElementTree.fromstring(
        as_html(RULES, sha256="ab" * 32)
        .removeprefix("<!DOCTYPE html>\n")
        .replace('<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">', "")
    )
    assert page.attrib["lang"] == "en"
    assert [cell.text for cell in page.iterfind(".//thead/tr/th")] == list(HEADINGS)
    rows = page.findall(".//tbody/tr")
    assert [row[1].text for row in rows] == [row.condition for row in ROWS]
    assert all(row[1].attrib["scope"] == "row" for row in rows)
    assert not {"src", "href"} & {name for element in page.iter() for name in element.attrib}
    assert not list(page.iter("script"))


def test_an_offices_own_figures_stand_in_the_page() -> None:
    own = as_text(with_rules(replacements={"two_people_from": 2}))
    assert "replacement number 2 or more" in own
    assert "October 27, 2026 at 5:00 pm" in own
    assert "A ballot that was stolen: a signed statement comes first, and two people must agree." in own
    assert "[so many]" in as_text()


def test_the_command_prints_the_page_and_writes_it(tmp_path: Path) -> None:
    printed = CliRunner().invoke(main, ["rules", "table"])
    assert printed.exit_code == 0, printed.output
    assert printed.output == as_text()
    target = tmp_path / "papers" / "table.html"
    written = CliRunner().invoke(main, ["rules", "table", str(FILE), "--out", str(target)])
    assert written.exit_code == 0, written.output
    assert target.read_text(encoding="utf-8") == as_html(load_rules(FILE), sha256=sha256_of(FILE.read_text("utf-8")))
