"""The office's rules: `office.toml` as typed, checked values. Every legal rule of an office is an entry of this file.

The names of sections and entries are the file's. An entry with a default may be left out; what the default rests on is
said beside it ("common practice" where it is the trade's habit). Times of the file are the office's local time and
become aware here. `replacements.rules.checks` holds the checks between entries.
"""

from __future__ import annotations

import hashlib
from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from replacements.rules import shapes
from replacements.rules.checks import checked
from replacements.rules.mailing_sections import EnvelopeWindow, LabelSheet, OverseasMailing
from replacements.rules.mistakes import Mistake, RulesError
from replacements.rules.shapes import Said, Words

__all__ = ["Mistake", "Rules", "RulesError", "load_rules", "parse_rules", "sha256_of"]

Text = Annotated[str, AfterValidator(shapes.not_empty)]
Shares = Annotated[dict[int, float], BeforeValidator(shapes.shares)]
Date = date  # a field of that name would hide the type
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
ReturnRule = Literal["received", "postmarked"]
ElectionKind = Literal["primary", "general", "runoff", "special"]
StaffRole = Literal["clerk", "supervisor", "mail_room", "return_desk", "observer"]
Evidence = Annotated[str, AfterValidator(shapes.identity_facts)]
WITNESS = "signature of a witness"
RETURN_RULE = Said('"received" or "postmarked"', 'return_rule = "postmarked"')


class Section(BaseModel):
    """A section of the file: typed strictly, nothing unknown, never changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Office(Section):
    """`[office]`: who the office is, as replies and labels name it."""

    name: Annotated[Text, Said("the office's name", 'name = "Harbor County Elections"')]
    address: Annotated[
        str,
        AfterValidator(shapes.mail_address),
        Said("the mail address that voters write to", 'address = "ballots@harbor.example"'),
    ]
    phone: Annotated[Text, Said("the office's phone number", 'phone = "(555) 555-0100"')]
    in_person: Annotated[Text, Said("the street address to come to", 'in_person = "1 Court St, Harbor"')]
    time_zone: Annotated[
        str,
        AfterValidator(shapes.time_zone),
        Said("the name of a time zone, as Continent/City", 'time_zone = "America/New_York"'),
    ]
    hours: Annotated[str, Said("the office's hours, in words", 'hours = "Monday to Friday, 8 am to 5 pm"')] = ""
    languages: Annotated[
        Words,
        AfterValidator(shapes.languages),
        Said("a list of language codes that reviewed replies exist in", 'languages = ["en", "es"]'),
    ] = ("en",)
    # It writes what it found about a sender (RFC 8601); empty: any host of the address's domain is believed.
    mail_server: Annotated[
        str,
        AfterValidator(shapes.host_name),
        Said(
            "the name by which the office's mail server signs Authentication-Results",
            'mail_server = "mx.harbor.example"',
        ),
    ] = ""
    website: Annotated[
        str, AfterValidator(shapes.website), Said("a web address", 'website = "https://harbor.example"')
    ] = ""


class ElectionRules(Section):
    """`[election]`. `kind`: None where the name tells it; letters name an election by it."""

    name: Annotated[Text, Said("the election's name", 'name = "General election"')]
    date: Annotated[Date, Said("the election day, as year-month-day", "date = 2026-11-03")]
    kind: Annotated[ElectionKind | None, Said('"primary", "general", "runoff" or "special"', 'kind = "general"')] = None


class OverseasDates(Section):
    """`[dates.overseas]`: what differs for voters marked overseas; None: as for everybody."""

    last_request_by_mail: Annotated[
        datetime | None, Said("a date with a time", "last_request_by_mail = 2026-10-27T17:00:00")
    ] = None
    last_in_person: Annotated[datetime | None, Said("a date with a time", "last_in_person = 2026-11-02T12:00:00")] = (
        None
    )
    return_rule: Annotated[ReturnRule | None, RETURN_RULE] = None
    return_by: Annotated[datetime | None, Said("a date with a time", "return_by = 2026-11-03T20:00:00")] = None
    grace_until: Annotated[datetime | None, Said("a date with a time", "grace_until = 2026-11-13T17:00:00")] = None


class Dates(Section):
    """`[dates]`: aware, in the office's time zone."""

    packets_from: Annotated[date, Said("a date", "packets_from = 2026-09-18")]  # left out: 45 days before election day
    last_request_by_mail: Annotated[
        datetime,
        Said("the last moment to ask by mail, a date with a time", "last_request_by_mail = 2026-10-23T17:00:00"),
    ]
    last_in_person: Annotated[
        datetime, Said("the last moment to vote in person, a date with a time", "last_in_person = 2026-11-02T12:00:00")
    ]
    return_rule: Annotated[ReturnRule, RETURN_RULE]
    return_by: Annotated[
        datetime,
        Said("the moment to be postmarked (or received) by, a date with a time", "return_by = 2026-11-03T20:00:00"),
    ]
    grace_until: Annotated[  # left out: no days of grace
        datetime,
        Said("a date with a time, when the last postmarked ballot counts", "grace_until = 2026-11-06T12:00:00"),
    ]
    overseas: OverseasDates = OverseasDates()


class Statement(Section):
    """`[statement]`: the voter's statement on the return envelope."""

    fields: Annotated[
        Words, Said("a list of what the statement asks for", 'fields = ["name", "registered address", "signature"]')
    ] = ("name", "registered address", "signature")
    witness: Annotated[bool, Said("true or false", "witness = false")] = False
    # Until when a statement may be completed; left out: replies say to ask for the last day.
    cure_until: Annotated[datetime | None, Said("a date with a time", "cure_until = 2026-11-06T17:00:00")] = None

    @property
    def parts(self) -> tuple[str, ...]:
        """All that a statement may lack."""
        return (*self.fields, *((WITNESS,) if self.witness else ()))


class DropBox(Section):
    """`[[drop_boxes]]`: one place. Dates left out: from the first packets to the last day of return."""

    place: Annotated[Text, Said("the place's name", 'place = "Elections office"')]
    address: Annotated[str, Said("the place's address", 'address = "1 Court St, Harbor"')] = ""
    open: Annotated[date, Said("the first day, a date", "open = 2026-10-14")]
    close: Annotated[date, Said("the last day, a date", "close = 2026-11-03")]
    hours: Annotated[str, Said("the hours, in words", 'hours = "at all hours"')] = ""


class Reason(Section):
    """One reason: is a signed statement wanted first, must two people agree, how long must a packet be out."""

    statement: Annotated[bool, Said("true or false", "spoiled = { statement = false, two_people = false }")] = False
    two_people: Annotated[bool, Said("true or false", "spoiled = { statement = false, two_people = false }")] = False
    wait_days: Annotated[
        int,
        Field(ge=0, le=60),
        Said("a number of days, 0 to 60", "not_received = { statement = true, two_people = false, wait_days = 7 }"),
    ] = 0


class Reasons(Section):
    """`[reasons]`. Defaults, common practice: a statement for what only the voter can know, two people for theft."""

    spoiled: Reason = Reason()
    damaged: Reason = Reason()
    not_received: Reason = Reason(statement=True, wait_days=7)
    lost: Reason = Reason(statement=True)
    stolen: Reason = Reason(statement=True, two_people=True)
    undeliverable: Reason = Reason(statement=True)


class ReplacementRules(Section):
    """`[replacements]`: what becomes of the original, and how many a voter may have."""

    original: Annotated[Literal["void", "suspend"], Said('"void" or "suspend"', 'original = "void"')] = "void"
    most_per_voter: Annotated[int, Field(ge=1, le=20), Said("a number from 1 to 20", "most_per_voter = 3")] = 3
    two_people_from: Annotated[int, Field(ge=1, le=20), Said("a number from 1 to 20", "two_people_from = 3")] = 3


class WhoMayAsk(Section):
    """`[who_may_ask]`"""

    voter: Annotated[bool, Said("true or false", "voter = true")] = True
    helper: Annotated[Literal["never", "signed_form"], Said('"never" or "signed_form"', 'helper = "never"')] = "never"


class AddressChange(Section):
    """`[address_change]`"""

    by_email: Annotated[Literal["form", "two_people"], Said('"form" or "two_people"', 'by_email = "form"')] = "form"
    form: Annotated[Text, Said("the form's name", 'form = "mail ballot address form"')] = "mail ballot address form"


class Identity(Section):
    """`[identity]`: what makes `certain` together with a name that fits. Name and address are on public lists, and a
    son of the same name has both: where the office says nothing, an address alone is not enough. An office that takes
    it lists it, alone or beside another fact (`address+phone_on_file`)."""

    with_name: Annotated[
        tuple[Evidence, ...],
        Field(strict=False, min_length=1),
        Said(
            "a list of: birth_date, voter_id, ballot_number, address, email_on_file, phone_on_file; "
            "several that are only enough together are joined by +",
            'with_name = ["birth_date", "voter_id", "address+phone_on_file"]',
        ),
    ] = (
        "birth_date",
        "voter_id",
        "ballot_number",
        "email_on_file",
        "phone_on_file",
    )
    unverified_sender: Annotated[Literal["read"], Said('"read"', 'unverified_sender = "read"')] = "read"


class MailingRules(Section):
    """`[mailing]`: the business days, the cut-off, what a packet holds, and the postal barcode's parts."""

    days: Annotated[
        tuple[Day, ...],
        Field(strict=False, min_length=1),
        Said("a list of: mon, tue, wed, thu, fri, sat, sun", 'days = ["mon", "tue", "wed", "thu", "fri"]'),
    ] = ("mon", "tue", "wed", "thu", "fri")
    cut_off: Annotated[time, Said("a time of day with seconds, not in quotes", "cut_off = 15:00:00")] = time(15)
    holidays: Annotated[
        str,
        AfterValidator(shapes.holiday_place),
        Said('a country, with or without a subdivision ("" for none)', 'holidays = "US"'),
    ] = "US"
    extra_closed: Annotated[
        tuple[date, ...], Field(strict=False), Said("a list of dates", "extra_closed = [2026-11-27]")
    ] = ()
    contents: Annotated[
        Words,
        Field(min_length=1),
        Said("a list of what a packet holds", 'contents = ["instructions", "ballot", "ballot envelope"]'),
    ] = shapes.CONTENTS
    number_prefix: Annotated[
        str, AfterValidator(shapes.number_prefix), Said("one to four digits in quotes", 'number_prefix = "7"')
    ] = "7"
    mailer_id: Annotated[
        str,
        AfterValidator(shapes.mailer_id),
        Said(
            "6 digits of which the first is 0 to 8, or 9 digits of which the first is 9, in quotes",
            'mailer_id = "123456"',
        ),
    ] = ""
    service_type: Annotated[
        str,
        AfterValidator(shapes.service_type),
        Said('3 digits in quotes as the post assigned them, or ""', 'service_type = ""'),
    ] = ""
    labels: Annotated[Literal["sheet", "window"], Said('"sheet" or "window"', 'labels = "sheet"')] = "sheet"
    label_sheet: Annotated[LabelSheet, Said("where the labels are on a sheet", "across = 2")] = LabelSheet()
    window: Annotated[EnvelopeWindow, Said("where the envelope's window is", "left = 0.5")] = EnvelopeWindow()
    overseas: OverseasMailing = OverseasMailing()


class DestinationTransit(Section):
    """`[transit.in_county]`, `[transit.in_state]`, `[transit.elsewhere]`, `[transit.overseas]`: what differs there."""

    outbound: Annotated[Shares | None, shapes.shares_said("outbound")] = None
    inbound: Annotated[Shares | None, shapes.shares_said("inbound")] = None
    kept_by_voter: Annotated[Shares | None, shapes.shares_said("kept_by_voter")] = None


class Transit(Section):
    """`[transit]`: days → share of packets. Outbound and inbound are days on which the post moves.

    Defaults: inbound so that 97.7 % are back within 3 days, 99.7 % within 5 and 99.88 % within 7; outbound with a mean
    of 2.1 days (the post's analyses of the 2020 and 2024 elections); kept by the voter: common practice.
    """

    outbound: Annotated[Shares, shapes.shares_said("outbound")] = {1: 0.33, 2: 0.38, 3: 0.18, 4: 0.08, 5: 0.03}
    inbound: Annotated[Shares, shapes.shares_said("inbound")] = {
        1: 0.60, 2: 0.25, 3: 0.127, 4: 0.012, 5: 0.008, 6: 0.001, 7: 0.0008, 9: 0.0012,
    }  # fmt: skip
    kept_by_voter: Annotated[Shares, shapes.shares_said("kept_by_voter")] = {1: 0.5, 2: 0.3, 3: 0.2}
    threshold: Annotated[
        float, Field(gt=0, lt=1), Said("a share between 0 and 1, without the ends", "threshold = 0.90")
    ] = 0.9
    county_zips: Annotated[
        Words,
        AfterValidator(shapes.zip_codes),
        Said("a list of the county's ZIP codes, 5 digits each, in quotes", 'county_zips = ["05991", "05992"]'),
    ] = ()
    in_county: DestinationTransit = DestinationTransit()
    in_state: DestinationTransit = DestinationTransit()
    elsewhere: DestinationTransit = DestinationTransit()
    overseas: DestinationTransit = DestinationTransit()


class Approval(Section):
    """`[approval]`: everything by staff, or clear cases by themselves; who may be the second of two people."""

    by: Annotated[Literal["staff", "clear_cases"], Said('"staff" or "clear_cases"', 'by = "staff"')] = "staff"
    second_by: Annotated[
        tuple[Literal["clerk", "supervisor"], ...],
        Field(strict=False, min_length=1),
        Said("a list of: clerk, supervisor", 'second_by = ["supervisor"]'),
    ] = ("supervisor",)


class People(Section):
    """`[people]`: which roles must give a second factor at signing in, beside the password. Default: none must, and
    everybody may. A role that sees voters' data should (NIST SP 800-63B-4, 2.2: AAL2; OWASP ASVS 5.0, 6.3.3)."""

    second_factor: Annotated[
        tuple[StaffRole, ...],
        Field(strict=False),
        Said(
            "a list of: clerk, supervisor, mail_room, return_desk, observer", 'second_factor = ["supervisor", "clerk"]'
        ),
    ] = ()


class Wait(Section):
    """How long one kind of question waits for the voter, in days of the calendar from the day it went out; 0: never."""

    remind_after_days: Annotated[
        int,
        Field(ge=0, le=60),
        Said(
            "a number of days, 0 to 60 (0: no reminder)", "details = { remind_after_days = 3, lapse_after_days = 10 }"
        ),
    ] = 0
    lapse_after_days: Annotated[
        int,
        Field(ge=0, le=120),
        Said("a number of days, 0 to 120 (0: never)", "details = { remind_after_days = 3, lapse_after_days = 10 }"),
    ] = 0


class Waiting(Section):
    """`[waiting]`: requests that wait for the voter are reminded of once, and lapse. Off unless set."""

    statement: Annotated[
        Wait,
        Said("days until the reminder and the lapse", "statement = { remind_after_days = 4, lapse_after_days = 14 }"),
    ] = Wait()
    details: Annotated[
        Wait,
        Said("days until the reminder and the lapse", "details = { remind_after_days = 3, lapse_after_days = 10 }"),
    ] = Wait()


class ReturnDesk(Section):
    """`[return_desk]`: the reasons that the post may have written on a packet that it brings back."""

    post_reasons: Annotated[
        Words,
        Field(min_length=1),
        Said("a list of reasons, as the post writes them", 'post_reasons = ["vacant", "refused"]'),
    ] = shapes.POST_REASONS


class Retention(Section):
    """`[retention]`. Default: 52 USC 20701, 22 months after a federal election.

    `hold`: why everything of this election is kept beyond that (a contest, an order of a court); empty: no hold.
    """

    months: Annotated[int, Field(ge=1, le=240), Said("a number of months, 1 to 240", "months = 22")] = 22
    hold: Annotated[str, Said("why everything is kept for now, in quotes", 'hold = "contest of the result"')] = ""


class Columns(Section):
    """`[columns]`: our name → the office's heading, for the roll and the list of ballots."""

    roll: Annotated[dict[str, str], shapes.HEADINGS] = {}
    ballots: Annotated[dict[str, str], shapes.HEADINGS] = {}


class Rules(Section):
    """The whole file."""

    office: Office
    election: ElectionRules
    dates: Dates
    statement: Statement = Statement()
    drop_boxes: Annotated[
        tuple[DropBox, ...],
        Field(strict=False),
        Said("a section in double brackets for each place", '[[drop_boxes]] and below it place = "Elections office"'),
    ] = ()
    reasons: Reasons = Reasons()
    replacements: ReplacementRules = ReplacementRules()
    who_may_ask: WhoMayAsk = WhoMayAsk()
    address_change: AddressChange = AddressChange()
    identity: Identity = Identity()
    mailing: MailingRules = MailingRules()
    transit: Transit = Transit()
    approval: Approval = Approval()
    people: People = People()
    waiting: Waiting = Waiting()
    return_desk: ReturnDesk = ReturnDesk()
    retention: Retention = Retention()
    columns: Columns = Columns()

    def reason(self, cause: str) -> Reason:
        """The rule for a cause (`spoiled`, `damaged`, `not_received`, `lost`, `stolen`, `undeliverable`)."""
        if cause not in Reasons.model_fields:
            raise KeyError(f"no reason named {cause!r}")
        found: Reason = getattr(self.reasons, cause)
        return found

    def dates_for(self, *, overseas: bool) -> Dates:
        """The dates that hold for a voter: the overseas ones where they differ."""
        if not overseas:
            return self.dates
        own = {name: value for name, value in self.dates.overseas if value is not None}
        if own.get("return_by") and "grace_until" not in own:
            own["grace_until"] = max(own["return_by"], self.dates.grace_until)
        return self.dates.model_copy(update=own)

    def last_request_text(self, *, overseas: bool) -> str:
        """The last moment to ask by mail in words: `October 23, 2026 at 5:00 pm`."""
        at = self.dates_for(overseas=overseas).last_request_by_mail
        return f"{at:%B} {at.day}, {at.year} at {at.hour % 12 or 12}:{at:%M} {'am' if at.hour < 12 else 'pm'}"


def parse_rules(text: str, source: str = "office.toml") -> Rules:
    """Read rules from a file's text. `source` is the name that mistakes are reported under.

    Raises RulesError with every mistake of the file at once.
    """
    return checked(text, source, Rules)


def load_rules(path: Path | str) -> Rules:
    """Read a rules file. Raises RulesError, also where the file is missing or is not UTF-8."""
    return parse_rules(text_of(Path(path)), str(path))


def text_of(path: Path) -> str:
    """A rules file's text, whole (what `sha256_of` is taken over). Raises RulesError where it cannot be read."""
    expected, example = "a text file in UTF-8 with the office's rules", "office.toml"
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise RulesError([Mistake(str(path), 0, "", error.strerror or "nothing", expected, example)]) from error
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        found = f"a byte that is not UTF-8 (0x{raw[error.start]:02x})"
        raise RulesError([Mistake(str(path), line, "", found, expected, example)]) from error


def sha256_of(text: str) -> str:
    """SHA-256 of a rules file's text (UTF-8), in hex: what an official adopts."""
    return hashlib.sha256(text.encode()).hexdigest()
