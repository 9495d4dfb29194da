"""How far the post carries a ballot: in the county, in its state, elsewhere in the country, overseas.

Told from the voter's own record: the post address, or where there is none, the address of residence, which lies in the
county because its roll is the county's.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Protocol

from replacements.rules.office import Rules

_HOME = frozenset({"", "US", "USA", "U.S.", "U.S.A.", "UNITED STATES", "UNITED STATES OF AMERICA"})
MILITARY = frozenset({"AA", "AE", "AP"})  # what stands for a state in military and diplomatic addresses


class Destination(StrEnum):
    """The values are the names of sections: `[transit.in_state]`."""

    IN_COUNTY = "in_county"
    IN_STATE = "in_state"
    ELSEWHERE = "elsewhere"
    OVERSEAS = "overseas"


class Addressed(Protocol):
    """What is asked of a voter's record, all as on file."""

    @property
    def city(self) -> str: ...
    @property
    def state(self) -> str: ...
    @property
    def zip(self) -> str: ...
    @property
    def mail_street(self) -> str: ...
    @property
    def mail_city(self) -> str: ...
    @property
    def mail_state(self) -> str: ...
    @property
    def mail_zip(self) -> str: ...
    @property
    def mail_country(self) -> str: ...
    @property
    def overseas(self) -> bool: ...


def destination_of(rules: Rules, voter: Addressed | None) -> Destination:
    """Where a packet to this voter goes; nobody in particular is a voter of the county.

    A post address lies in the county where its town or its ZIP is that of the residence, or its ZIP is listed in
    `transit.county_zips`.
    """
    if voter is None:
        return Destination.IN_COUNTY
    if voter.overseas or _plain(voter.mail_country) not in _HOME or _plain(voter.mail_state) in MILITARY:
        return Destination.OVERSEAS
    if not any((voter.mail_street, voter.mail_city, voter.mail_zip)):
        return Destination.IN_COUNTY
    home, away = _plain(voter.state), _plain(voter.mail_state)
    if home and away and home != away:
        return Destination.ELSEWHERE
    code = voter.mail_zip.strip()[:5]
    same_town = _plain(voter.mail_city) == _plain(voter.city) != ""
    if same_town or code in rules.transit.county_zips or (code and code == voter.zip.strip()[:5]):
        return Destination.IN_COUNTY
    return Destination.IN_STATE


def _plain(text: str) -> str:
    return " ".join(text.upper().split())
