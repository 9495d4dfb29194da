"""Who may do what: named permissions, and the roles that have them. Checked here and nowhere else.

A page or a service asks `may(roles, Permission.X)`; no other room compares role names.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from enum import StrEnum
from types import MappingProxyType


class Role(StrEnum):
    """What a member of staff is. An account may have several, except that an observer is nothing else."""

    CLERK = "clerk"
    SUPERVISOR = "supervisor"
    MAIL_ROOM = "mail_room"
    RETURN_DESK = "return_desk"
    OBSERVER = "observer"


class Permission(StrEnum):
    """One thing that one may do."""

    SEE_REQUESTS = "see_requests"
    SEE_PERSONAL = "see_personal"  # names, addresses, birth dates, voter ids, what voters wrote
    OPEN_PICTURES = "open_pictures"  # with a reason that is recorded
    DECIDE = "decide"
    SECOND_APPROVAL = "second_approval"
    TAKE_BACK = "take_back"
    ADOPT_RULES = "adopt_rules"
    SEE_RULES = "see_rules"
    SEE_TEXTS = "see_texts"  # what replies say; with voters' data only together with SEE_PERSONAL
    EDIT_TEXTS = "edit_texts"
    APPROVE_TEXTS = "approve_texts"  # of somebody else's text
    SEE_MAILING = "see_mailing"
    CLOSE_MAILING = "close_mailing"
    PRINT_MAILING = "print_mailing"
    SIGN_MAILING = "sign_mailing"
    PULL_PACKET = "pull_packet"
    SET_STOCK = "set_stock"
    USE_RETURN_DESK = "use_return_desk"
    SEE_WEEK = "see_week"
    SEE_LEDGER = "see_ledger"
    SEE_HEALTH = "see_health"
    PAUSE_SENDING = "pause_sending"  # stop every reply from going, and let them go again
    MANAGE_PEOPLE = "manage_people"
    SEE_LOOKS = "see_looks"  # who looked at whose record


_C, _S, _M, _R, _O = Role.CLERK, Role.SUPERVISOR, Role.MAIL_ROOM, Role.RETURN_DESK, Role.OBSERVER

MAY: Mapping[Permission, frozenset[Role]] = MappingProxyType(
    {
        Permission.SEE_REQUESTS: frozenset({_C, _S, _O}),
        # Observers read everything that is not personal; the return desk needs a number and an answer, no name.
        Permission.SEE_PERSONAL: frozenset({_C, _S, _M}),
        Permission.OPEN_PICTURES: frozenset({_C, _S}),
        Permission.DECIDE: frozenset({_C, _S}),
        Permission.SECOND_APPROVAL: frozenset({_S}),
        Permission.TAKE_BACK: frozenset({_S}),
        Permission.ADOPT_RULES: frozenset({_S}),
        Permission.SEE_RULES: frozenset(Role),
        Permission.SEE_TEXTS: frozenset({_C, _S, _O}),
        Permission.EDIT_TEXTS: frozenset({_S}),
        Permission.APPROVE_TEXTS: frozenset({_S}),
        Permission.SEE_MAILING: frozenset({_C, _S, _M, _O}),
        Permission.CLOSE_MAILING: frozenset({_S, _M}),
        Permission.PRINT_MAILING: frozenset({_S, _M}),
        Permission.SIGN_MAILING: frozenset({_S, _M}),
        Permission.PULL_PACKET: frozenset({_S, _M}),
        Permission.SET_STOCK: frozenset({_S, _M}),
        Permission.USE_RETURN_DESK: frozenset({_S, _R}),
        Permission.SEE_WEEK: frozenset({_S, _O}),
        Permission.SEE_LEDGER: frozenset({_C, _S, _O}),
        Permission.SEE_HEALTH: frozenset(Role),
        Permission.PAUSE_SENDING: frozenset({_S}),
        Permission.MANAGE_PEOPLE: frozenset({_S}),
        Permission.SEE_LOOKS: frozenset({_S}),
    }
)


def may(roles: Iterable[str], permission: Permission) -> bool:
    """Whether somebody with these roles may do this. An unknown role gives nothing; a list that holds `observer`
    next to other roles gives what an observer may, and no more."""
    held = frozenset(roles)
    if Role.OBSERVER in held:
        held = frozenset({Role.OBSERVER})
    return not held.isdisjoint(MAY[permission])
