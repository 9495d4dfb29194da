"""The figures for monitoring: readable by Prometheus' own parser, all from the database, nothing personal in them; and
the sample alerts, which name only figures that there are."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml
from prometheus_client.parser import text_string_to_metric_families

from replacements.health.metrics import exposition
from replacements.health.types import QUEUES, Counted, Figures, Part
from tests.health.healthy import ALL_WELL, HOUR, MINUTE, NOW, WORK, where, where_work

ALERTS = Path(__file__).parents[2] / "replacements" / "health" / "alerts.yml"
# With all that is absent where nothing waits.
BUSY = replace(
    where_work(to_read=Counted(4, NOW - HOUR), due=Counted(2, NOW - MINUTE), replies={"failed": 1, "sent": 3}),
    queues={name: Counted(5, NOW - HOUR) for name in QUEUES},
)
Labels = frozenset[tuple[str, str]]


def figures_of(figures: Figures) -> dict[tuple[str, Labels], float]:
    """Every sample by its name and labels."""
    text = exposition(figures).decode()
    return {
        (sample.name, frozenset(sample.labels.items())): sample.value
        for family in text_string_to_metric_families(text)
        for sample in family.samples
    }


def value(figures: Figures, name: str, **labels: str) -> float:
    return figures_of(figures)[f"replacements_{name}", frozenset(labels.items())]


def rules() -> Iterator[dict[str, Any]]:
    for group in yaml.safe_load(ALERTS.read_text(encoding="utf-8"))["groups"]:
        yield from group["rules"]


def test_what_is_measured_is_what_is_told() -> None:
    assert value(BUSY, "replies", state="failed") == 1
    assert value(BUSY, "messages_oldest_to_read_timestamp_seconds") == (NOW - HOUR).timestamp()
    assert value(BUSY, "replies_due") == 2
    assert value(BUSY, "mailing_packets", election="2026-11-03-general") == 7
    assert value(BUSY, "mailbox_last_read_timestamp_seconds", mailbox="mailbox") == (NOW - MINUTE).timestamp()
    assert value(BUSY, "disk_free_bytes", folder="data") == 60e9
    assert value(BUSY, "queue_tasks", queue="nightly") == 5
    assert value(BUSY, "queue_oldest_timestamp_seconds", queue="nightly") == (NOW - HOUR).timestamp()
    assert value(BUSY, "ledger_entries_total") == 180
    assert value(BUSY, "part_in_order", part="reading") == 0
    assert value(ALL_WELL, "part_in_order", part="reading") == 1


def test_a_state_of_which_there_is_none_is_told_as_none() -> None:
    assert value(ALL_WELL, "replies", state="failed") == 0
    assert value(ALL_WELL, "messages", state="stored") == 0
    assert value(ALL_WELL, "queue_tasks", queue="nightly") == 0
    assert not any(name.startswith("replacements_queue_oldest") for name, _ in figures_of(ALL_WELL))


def test_where_the_database_is_away_that_is_told_and_nothing_of_the_work() -> None:
    away = where(database_trouble="It does not answer.", schema=None, stored=None)
    assert value(away, "database_up") == 0
    assert value(away, "part_broken", part="database") == 1
    assert not any(name.startswith(("replacements_messages", "replacements_replies")) for name, _ in figures_of(away))


def test_the_same_is_told_whichever_process_is_asked() -> None:
    assert exposition(BUSY) == exposition(BUSY)
    assert b"process_" not in exposition(BUSY)
    assert b"python_" not in exposition(BUSY)


def test_what_people_wrote_is_in_no_figure() -> None:
    said = replace(WORK.mailboxes[0], ok=False, text="The server refuses ballots@office.example.")
    paused = replace(said, name="sending", text="All sending is paused by hollis: a text is wrong.")
    text = exposition(where_work(mailboxes=(said,), sending=paused, others=(replace(said, name="retention"),))).decode()
    assert not any(word in text for word in ("ballots@", "hollis", "refuses"))


def test_every_label_is_from_a_short_list_of_words() -> None:
    wanted = {"part", "state", "mailbox", "election", "folder", "queue"}
    assert {name for _, labels in figures_of(BUSY) for name, _ in labels} == wanted
    assert {dict(labels)["part"] for name, labels in figures_of(BUSY) if name == "replacements_part_in_order"} == set(
        Part
    )


def test_every_figure_that_an_alert_names_is_there() -> None:
    there = {name for name, _ in figures_of(BUSY)}
    for rule in rules():
        named = set(re.findall(r"\breplacements_\w+", rule["expr"]))
        assert named <= there, rule["alert"]
        assert named or rule["expr"].startswith('up{job="replacements"}'), rule["alert"]


def test_every_label_that_an_alert_asks_for_is_one_that_its_figure_has() -> None:
    samples = set(figures_of(BUSY))
    for rule in rules():
        for name, label, wanted in re.findall(r'\b(replacements_\w+)\{(\w+)="(\w+)"\}', rule["expr"]):
            assert (name, frozenset({(label, wanted)})) in samples, rule["alert"]
        labels = {word for text in rule["annotations"].values() for word in re.findall(r"\$labels\.(\w+)", text)}
        named = re.findall(r"\breplacements_\w+", rule["expr"])
        for label in labels:
            assert any(label in dict(there) for name, there in samples if name in named), (rule["alert"], label)


def test_the_alerts_have_the_form_of_prometheus_rules() -> None:
    """Prometheus' documentation, "Alerting rules": alert and expr, with for, labels and annotations beside them."""
    loaded = yaml.safe_load(ALERTS.read_text(encoding="utf-8"))
    assert set(loaded) == {"groups"}
    names = [rule["alert"] for rule in rules()]
    assert len(names) == len(set(names))
    for rule in rules():
        assert (
            {"alert", "expr", "labels", "annotations"} <= set(rule) <= {"alert", "expr", "for", "labels", "annotations"}
        )
        assert re.fullmatch(r"[A-Za-z_]\w*", rule["alert"])
        assert re.fullmatch(r"[1-9]\d*[mh]", rule.get("for", "1m"))
        assert rule["labels"]["severity"] in ("now", "today")
        assert set(rule["annotations"]) == {"summary", "do"}
        assert rule["expr"].count("(") == rule["expr"].count(")")


@pytest.mark.parametrize("part", list(Part))
def test_every_part_that_is_broken_or_behind_raises_an_alert(part: Part) -> None:
    """By the last rule of all, and most by one of their own before it."""
    assert any(rule["expr"] == "replacements_part_in_order == 0" for rule in rules())
    assert ("replacements_part_in_order", frozenset({("part", part.value)})) in figures_of(BUSY)
