"""From a file's text to checked rules: every mistake in one pass, each with its line.

The checks between entries work on the file's own values, so that a mistake in one entry hides none in another.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from typing import Any, TypeVar, get_args
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError
from rapidfuzz import fuzz, process

from replacements.rules.mistakes import Entry, Lines, Mistake, RulesError, dotted, shown
from replacements.rules.reading_toml import read_toml
from replacements.rules.shapes import Said, zone_or_none

Model = TypeVar("Model", bound=BaseModel)

PACKETS_BEFORE = timedelta(days=45)  # 52 USC 20302(a)(8): the latest first day for voters overseas
NEAR_ELECTION = timedelta(days=31)  # return dates farther from election day than this are slips of the pen
NEAR_ENOUGH = 60  # likeness, of 100, from which a known entry is offered for an unknown one
_ROLL = (
    "voter_id last_name first_name middle_name suffix birth_date street unit city state zip mail_street mail_unit "
    "mail_city mail_state mail_zip mail_country precinct style language email phone former_last_name status "
    "id_required overseas protected"
)
_BALLOTS = "ballot_number voter_id style state mailed_on returned_on replaces void_reason"
ROLL_COLUMNS, BALLOT_COLUMNS = frozenset(_ROLL.split()), frozenset(_BALLOTS.split())


def checked(text: str, source: str, model: type[Model]) -> Model:
    """Parse a rules file's text as `model`. Raises RulesError with all mistakes."""
    text = text.removeprefix("\ufeff")
    read = read_toml(text, source)
    if read.values is None:
        raise RulesError(read.mistakes)
    raw, lines = read.values, Lines(text)
    mistakes = read.mistakes + [
        Mistake(source, lines.of(entry), dotted(entry), found, expected, example)
        for entry, found, expected, example in [*_between(raw), *_columns(raw)]
    ]
    zone = zone_or_none(_at(raw, "office", "time_zone"))
    _fill(raw)
    value = _aware(raw, zone or UTC)
    result: Model | None = None
    try:
        result = model.model_validate(value)
    except ValidationError as error:
        mistakes += [
            _mistake(model, found, lines, source)
            for found in error.errors(include_url=False)
            if found["type"] != "missing" or str(found["loc"][-1]) not in read.aside
        ]
    if mistakes or result is None:
        raise RulesError(mistakes)
    return result


def _at(raw: dict[str, Any], *path: str) -> Any:
    value: Any = raw
    for part in path:
        value = value.get(part) if isinstance(value, dict) else None
    return value


def _fill(raw: dict[str, Any]) -> None:
    """Defaults that follow from other entries."""
    election, dates = _at(raw, "election", "date"), raw.get("dates")
    if isinstance(dates, dict):
        if isinstance(election, date) and not isinstance(election, datetime):
            dates.setdefault("packets_from", election - PACKETS_BEFORE)
        if "return_by" in dates:
            dates.setdefault("grace_until", dates["return_by"])
    boxes = raw.get("drop_boxes")
    first, last = _at(raw, "dates", "packets_from"), _at(raw, "dates", "return_by")
    for box in boxes if isinstance(boxes, list) else ():
        if isinstance(box, dict) and isinstance(first, date) and isinstance(last, datetime):
            box.setdefault("open", first)
            box.setdefault("close", last.date())
    columns = raw.get("columns")
    if isinstance(columns, dict) and not any(isinstance(value, dict) for value in columns.values()):
        raw["columns"] = {
            "roll": {name: heading for name, heading in columns.items() if name in ROLL_COLUMNS},
            "ballots": {name: heading for name, heading in columns.items() if name in BALLOT_COLUMNS},
        }


def _aware(value: Any, zone: ZoneInfo | Any) -> Any:
    """Every time of the file with the office's zone: one without a zone is local, one with another is converted."""
    if isinstance(value, dict):
        return {name: _aware(inner, zone) for name, inner in value.items()}
    if isinstance(value, list):
        return [_aware(inner, zone) for inner in value]
    if isinstance(value, datetime):
        return value.replace(tzinfo=zone) if value.tzinfo is None else value.astimezone(zone)
    return value


Trouble = tuple[Entry, str, str, str]  # entry, found, expected, example


def _between(raw: dict[str, Any]) -> Iterator[Trouble]:
    """Checks between entries: the order of dates, numbers that must agree."""
    zone = zone_or_none(_at(raw, "office", "time_zone")) or UTC
    dates = _at(raw, "dates")
    if isinstance(dates, dict):
        election = _at(raw, "election", "date")
        yield from _order(("dates",), dates, dates, election, zone)
        overseas = dates.get("overseas")
        if isinstance(overseas, dict):
            yield from _order(("dates", "overseas"), overseas, {**dates, **overseas}, election, zone)
    boxes = raw.get("drop_boxes")
    for index, box in enumerate(boxes if isinstance(boxes, list) else ()):
        if not isinstance(box, dict) or not _is_day(box.get("open")) or not _is_day(box.get("close")):
            continue
        opens, closes = box["open"], box["close"]
        if opens > closes:
            expected = f"a day that is not before it opens ({opens})"
            yield ("drop_boxes", index, "close"), shown(closes), expected, f"close = {opens}"
    for kind, wait in (_at(raw, "waiting") or {}).items() if isinstance(_at(raw, "waiting"), dict) else ():
        known = wait if isinstance(wait, dict) else {}
        given = (known.get("remind_after_days"), known.get("lapse_after_days"))
        remind, lapse = (number if isinstance(number, int) else 0 for number in given)
        if 0 < lapse <= remind:
            expected = f"more days than until the reminder ({remind}), so that it can be answered"
            example = f"{kind} = {{ remind_after_days = {remind}, lapse_after_days = {remind + 7} }}"
            yield ("waiting", kind, "lapse_after_days"), shown(lapse), expected, example
    if not isinstance(_at(raw, "mailing", "days"), list):
        return
    days = [day for day in raw["mailing"]["days"] if isinstance(day, str)]
    if len(set(days)) < len(days):
        yield ("mailing", "days"), shown(days), "each day once", 'days = ["mon", "tue", "wed", "thu", "fri"]'


def _is_day(value: Any) -> bool:
    return isinstance(value, date) and not isinstance(value, datetime)


def _order(
    section: Entry, own: dict[str, Any], dates: dict[str, Any], election: Any, zone: ZoneInfo | Any
) -> Iterator[Trouble]:
    """The dates of a section in order; only pairs of which one stands in the section itself."""
    rule = dates.get("return_rule")
    moments = {
        name: _aware(value, zone) for name, value in dates.items() if isinstance(value, datetime) and name != "overseas"
    }
    days: dict[str, date] = {name: moment.date() for name, moment in moments.items()}
    if _is_day(dates.get("packets_from")):
        days["packets_from"] = dates["packets_from"]
    pairs = [("packets_from", "last_request_by_mail"), ("last_request_by_mail", "return_by")]
    if rule != "received":  # where ballots must be received, there is no grace, and its date is not used
        pairs.append(("return_by", "grace_until"))
    for earlier, later in pairs:
        if earlier not in days or later not in days or not {earlier, later} & own.keys():
            continue
        wrong = (
            moments[earlier] > moments[later]
            if earlier in moments and later in moments
            else days[earlier] > days[later]
        )
        if wrong:
            name = later if later in own else earlier
            order = f"not before {earlier}" if name == later else f"not after {later}"
            other = dates[earlier if name == later else later]
            yield (
                (*section, name),
                shown(dates[name]),
                f"a date that is {order} ({shown(other)})",
                f"{later} = {shown(other)}",
            )
    if not _is_day(election):
        return
    for name in ("packets_from", "last_in_person", "last_request_by_mail"):
        if name in days and name in own and days[name] > election:
            expected = f"a date that is not after election day ({election})"
            yield (*section, name), shown(dates[name]), expected, f"{name} = {_example(dates[name], election)}"
    for name in ("return_by", "grace_until"):
        used = name == "return_by" or rule != "received"
        if used and name in days and name in own and abs(days[name] - election) > NEAR_ELECTION:
            expected = f"a date within {NEAR_ELECTION.days} days of election day ({election})"
            yield (*section, name), shown(dates[name]), expected, f"{name} = {_example(dates[name], election)}"


def _example(value: Any, day: date) -> str:
    return f"{day}T{value:%H:%M:%S}" if isinstance(value, datetime) else str(day)


def _columns(raw: dict[str, Any]) -> Iterator[Trouble]:
    """Columns that are not ours: a slip there would leave the office's column out without a word."""
    columns = raw.get("columns")
    if not isinstance(columns, dict):
        return
    nested = any(isinstance(value, dict) for value in columns.values())
    tables: list[tuple[Entry, Any, frozenset[str]]] = (
        [
            (("columns", "roll"), columns.get("roll"), ROLL_COLUMNS),
            (("columns", "ballots"), columns.get("ballots"), BALLOT_COLUMNS),
        ]
        if nested
        else [(("columns",), columns, ROLL_COLUMNS | BALLOT_COLUMNS)]
    )
    for section, table, known in tables:
        for name, heading in table.items() if isinstance(table, dict) else ():
            if name not in known:
                near = _nearest(name, known)
                meant = f"one of our columns: did you mean {near}?" if near else f"one of: {', '.join(sorted(known))}"
                yield (*section, name), f"a column {name!r}", meant.rstrip("?"), f'{near or "voter_id"} = "Heading"'
            elif not isinstance(heading, str) and not nested:
                yield (*section, name), shown(heading), "the office's heading, in quotes", f'{name} = "Heading"'


def _nearest(name: str, known: frozenset[str] | list[str]) -> str:
    found = process.extractOne(name.lower(), sorted(known), scorer=fuzz.ratio, score_cutoff=NEAR_ENOUGH)
    return found[0] if found else ""


def _models(annotation: Any) -> type[BaseModel] | None:
    """The section behind an annotation: itself, or inside a tuple, an option or an Annotated."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((model for inner in get_args(annotation) if (model := _models(inner)) is not None), None)


def _walk(model: type[BaseModel], entry: Entry) -> tuple[type[BaseModel] | None, Said | None]:
    """The section that an entry stands in, and what is said about the entry."""
    section: type[BaseModel] | None = model
    said: Said | None = None
    holder: type[BaseModel] | None = model
    for part in entry:
        if isinstance(part, int) or section is None:
            continue
        holder = section
        field = section.model_fields.get(part)
        if field is None:
            return holder, None
        said = next((note for note in field.metadata if isinstance(note, Said)), said)
        section = _models(field.annotation)
    return holder, said


def _all_entries(model: type[BaseModel], prefix: str = "") -> list[str]:
    names = []
    for name, field in model.model_fields.items():
        names.append(f"{prefix}{name}")
        inner = _models(field.annotation)
        if inner is not None:
            names += _all_entries(inner, f"{prefix}{name}.")
    return names


def _mistake(model: type[BaseModel], error: Any, lines: Lines, source: str) -> Mistake:
    """A mistake from what the types refused."""
    entry: Entry = tuple(part for part in error["loc"] if part != "[key]")
    holder, said = _walk(model, entry)
    line, name = lines.of(entry), dotted(entry)
    if error["type"] == "extra_forbidden":
        return _unknown(model, holder, entry, line, source)
    if said is None:
        section = f"a section [{name}] with its entries"
        said = Said(section, f"[{name}] on a line of its own, its entries below it")
    if error["type"] == "missing":
        return Mistake(source, line, name, "nothing", said.expected, said.example)
    expected = said.expected
    if error["type"] == "value_error":
        expected = str(error["ctx"]["error"])
    return Mistake(source, line, name, shown(error["input"]), expected, said.example)


def _unknown(model: type[BaseModel], holder: type[BaseModel] | None, entry: Entry, line: int, source: str) -> Mistake:
    """An entry that there is not, with the nearest one that there is: in this section first, then anywhere."""
    last = str(entry[-1])
    here = list(holder.model_fields) if holder is not None else []
    near = _nearest(last, here)
    where = ".".join(str(part) for part in entry[:-1] if isinstance(part, str))
    near = f"{where}.{near}" if near and where else near
    if not near:
        ends: dict[str, str] = {}
        for known in _all_entries(model):
            ends.setdefault(known.rsplit(".", 1)[-1], known)
        near = ends.get(_nearest(last, list(ends)), "")
    expected = f"a known entry; the nearest is {near}" if near else f"one of: {', '.join(here)}"
    instead = tuple(near.split(".")) if near else (*(part for part in entry[:-1] if isinstance(part, str)), here[0])
    said = _walk(model, instead)[1]
    example = said.example if said else f"[{'.'.join(instead)}]"
    return Mistake(source, line, dotted(entry), "an unknown entry", expected, example)
