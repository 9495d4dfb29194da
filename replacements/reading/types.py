"""What a message asks, as data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a message may be about. The names are an interface."""

    SPOILED_BALLOT = "spoiled_ballot"
    NOT_RECEIVED = "not_received"
    MISSING_MATERIALS = "missing_materials"
    ADDRESS_CHANGE = "address_change"
    ASSISTANCE = "assistance"
    QUESTION = "question"
    WITHDRAWAL = "withdrawal"
    DETAILS = "details"
    AUTOMATIC = "automatic"
    OTHER = "other"


class Topic(StrEnum):
    """What a question is about; a reviewed reply text exists for each. The names are an interface."""

    DEADLINE = "deadline"
    POSTMARK = "postmark"
    DROP_BOX = "drop_box"
    IDENTIFICATION = "identification"
    WITNESS = "witness"
    PEN = "pen"
    PARTIAL = "partial"
    ENVELOPE = "envelope"
    SECRECY = "secrecy"
    STATUS = "status"
    COUNTED = "counted"
    POSTAGE = "postage"
    HELPER = "helper"
    WHAT_IF = "what_if"
    IN_PERSON = "in_person"


class Cause(StrEnum):
    """Why a ballot is to be replaced; the first six are entries of the office's rules under `[reasons]`."""

    SPOILED = "spoiled"  # mismarked
    DAMAGED = "damaged"  # wet, torn, stained, eaten
    NOT_RECEIVED = "not_received"
    LOST = "lost"  # had it or should have had it, and cannot find it; thrown away counts as lost
    STOLEN = "stolen"
    UNDELIVERABLE = "undeliverable"  # the post brought it back


class Flag(StrEnum):
    """What a person must know before anything is done."""

    THREAT = "threat"
    COMMANDS_SOFTWARE = "commands_software"  # text that addresses the reader's machinery
    MANY_PEOPLE = "many_people"  # one sender, many voters
    PRESS = "press"
    JUNK = "junk"  # advertising, phishing
    CHOICES_STATED = "choices_stated"  # says how somebody votes: shown onward nowhere
    BALLOT_ALREADY_SENT = "ballot_already_sent"  # the writer says that the ballot is in the post or handed in
    SWAPPED = "swapped"  # two people's ballots or envelopes changed places
    BALLOT_MISSING = "ballot_missing"  # materials are missing, and the ballot is among them
    STATEMENT_ATTACHED = "statement_attached"  # a signed statement or form comes with this message
    HYPOTHETICAL = "hypothetical"
    ALREADY_REPLACED = "already_replaced"  # the writer says that a replacement was issued before
    CONFLICT = "conflict"  # two readings that exclude each other


class AddressRole(StrEnum):
    """What an address in the text is for."""

    HOME = "home"  # where the person lives or is registered, or an address given to identify oneself
    NEW = "new"  # where post should go from now on
    OLD = "old"  # where the person no longer is


# Year, month, day; any may be None where the writer did not say. Written digits that can be read two ways give two.
PartialDate = tuple[int | None, int | None, int | None]


@dataclass(frozen=True, slots=True)
class KindFound:
    """A kind with its probability (0 to 1) and the words of the message that made it, as written."""

    kind: Kind
    p: float
    because: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AddressFound:
    """An address as written. `text` is the whole stretch; lines that were not given are empty."""

    text: str
    street: str = ""  # number and street, or PO box, or rural route, as written
    unit: str = ""
    city: str = ""
    state: str = ""
    zip: str = ""
    role: AddressRole = AddressRole.HOME


@dataclass(frozen=True, slots=True)
class Person:
    """A person that something is asked for, or who asks, with all that the message says to tell them from others.

    `name` is the best form as written (empty when nobody is named). `names` holds every form in the message that is
    this person's, best first: in the text, in the signature, in the From line (only when that is this person's).
    """

    name: str
    names: tuple[str, ...] = ()
    suffix: str = ""  # "Jr", "Sr", "II": as written or told in words ("junior")
    birth_dates: tuple[PartialDate, ...] = ()  # every reading of what was written
    age: int | None = None
    addresses: tuple[AddressFound, ...] = ()
    voter_ids: tuple[str, ...] = ()
    ballot_numbers: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()  # digits only, ten where the area code is given
    emails: tuple[str, ...] = ()  # of this person: the sender's address only where the sender is this person
    is_writer: bool = True  # the person writes (or dictates, or writes from another's account) for themself
    relation: str = ""  # who the person is to the writer, when somebody else asks: "father", "husband", "neighbor"
    kinds: tuple[Kind, ...] = ()
    cause: Cause | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """What one message asks. `people` has an entry per person that something is asked for, or who asks and can be
    identified; it is empty for machine mail, junk, and questions that name nobody."""

    language: str  # ISO 639-1 (or 639-3 where there is none); "und" when it cannot be told
    kinds: tuple[KindFound, ...]
    people: tuple[Person, ...] = ()
    topics: tuple[Topic, ...] = ()
    flags: frozenset[Flag] = frozenset()
    flag_words: tuple[tuple[Flag, str], ...] = ()  # the words that raised each flag

    def has(self, kind: Kind) -> bool:
        return any(k.kind is kind for k in self.kinds)
