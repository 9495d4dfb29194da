"""The tables. What must never be broken is a constraint or a trigger here (see the migrations), not a promise in code.

Times are stored in UTC and handed out aware. JSON columns hold what was shown to a person, as it was shown.
"""

from replacements.store.tables.ballots import Ballot, LedgerEntry
from replacements.store.tables.base import BALLOT_STATES, LIVE_STATES, OPEN_STATES, Base, UtcDateTime
from replacements.store.tables.desk import DeskScan
from replacements.store.tables.elections import AdoptedRules, Election
from replacements.store.tables.health import Condition
from replacements.store.tables.mail import FoundBy, LetterWords, Message, PackedWords, RawMail, Reply, Sighting
from replacements.store.tables.mailings import Mailing, Packet, Signature, StockEntry
from replacements.store.tables.people import Account, Factor, Look, RecoveryCode, SignIn
from replacements.store.tables.replies import ReplyText, ReplyTextDecision
from replacements.store.tables.requests import Correction, Request, RequestStep
from replacements.store.tables.roll import NameCount, RollBucket, RollImport, RollLines, VoterChange, VoterRow
from replacements.store.tables.summary import LedgerDay, LedgerDaysUpTo, PastRequest, ReplyAttachment

__all__ = [
    "BALLOT_STATES",
    "LIVE_STATES",
    "OPEN_STATES",
    "Account",
    "AdoptedRules",
    "Ballot",
    "Base",
    "Condition",
    "Correction",
    "DeskScan",
    "Election",
    "Factor",
    "FoundBy",
    "LedgerDay",
    "LedgerDaysUpTo",
    "LedgerEntry",
    "LetterWords",
    "Look",
    "Mailing",
    "Message",
    "NameCount",
    "PackedWords",
    "Packet",
    "PastRequest",
    "RawMail",
    "RecoveryCode",
    "Reply",
    "ReplyAttachment",
    "ReplyText",
    "ReplyTextDecision",
    "Request",
    "RequestStep",
    "RollBucket",
    "RollImport",
    "RollLines",
    "Sighting",
    "SignIn",
    "Signature",
    "StockEntry",
    "UtcDateTime",
    "VoterChange",
    "VoterRow",
]
