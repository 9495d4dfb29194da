"""How long the post and the voters take, learned from ballots that went out and came back.

Only two days are on record, mailed and returned, and three legs lie between them. The round trip is what the ballots
tell. How it divides rests on the present entries for the post, which are held on to with as much weight as the ballots
have; how long voters keep a ballot is free, since that is what differs (expectation maximisation: Dempster, Laird and
Rubin, 1977). The chance of being back in time needs the round trip only, except under a postmark rule.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from replacements.rules.calendar import DAY, is_mailing_day
from replacements.rules.destinations import Destination
from replacements.rules.office import Rules
from replacements.rules.transit import after_post_days, legs_of

LEAST_PIECES = 100  # fewer tell more of chance than of the post (common practice)
LONGEST_KEPT = 40  # days; who keeps a ballot longer tells nothing of the post
MORE_DAYS = 3  # days of post beyond the present entries that the ballots may show
LONGEST_TRIP = timedelta(days=60)
RIPE = timedelta(days=14)  # younger ballots are left out while others still come: of those only the quick are back
ROUNDS = 60
# The part of the start that is spread evenly over all days, so that none is ruled out before the ballots speak.
_OPEN = {"outbound": 0.01, "kept_by_voter": 0.5, "inbound": 0.01}
_HELD = {"outbound": 1.0, "kept_by_voter": 0.0, "inbound": 1.0}  # the start's weight, of that of the ballots
LEGS = ("outbound", "kept_by_voter", "inbound")


@dataclass(frozen=True, slots=True)
class Piece:
    """A ballot that went out and came back, with where it went (None: not known)."""

    mailed: date
    returned: date
    to: Destination | None = None


@dataclass(frozen=True, slots=True)
class Learned:
    """For one destination (None: all together). `spreads` and `behind`: leg -> days -> share, and how many pieces stand
    behind that share. Empty where there were fewer than LEAST_PIECES. `left_out`: pieces that were not used."""

    to: Destination | None
    pieces: int
    left_out: int
    spreads: Mapping[str, Mapping[int, float]]
    behind: Mapping[str, Mapping[int, float]]


def learn(
    pieces: Iterable[Piece], rules: Rules, progress: Callable[[int, int], None] | None = None
) -> tuple[Learned, ...]:
    """Learn each destination's legs, most pieces first. `progress` is called with (rounds done, rounds in all)."""
    groups: dict[Destination | None, list[Piece]] = defaultdict(list)
    for piece in pieces:
        groups[piece.to].append(piece)
    newest = max((piece.returned for group in groups.values() for piece in group), default=date.min)
    still_coming = newest < rules.election.date
    weekends = any(not is_mailing_day(rules, piece.returned) for group in groups.values() for piece in group)
    found = []
    for number, (to, group) in enumerate(sorted(groups.items(), key=lambda item: -len(item[1]))):
        used = [
            piece
            for piece in group
            if timedelta() < piece.returned - piece.mailed <= LONGEST_TRIP
            and (not still_coming or piece.mailed <= newest - RIPE)
        ]
        spreads: Spreads = {}
        behind: Spreads = {}
        if len(used) >= LEAST_PIECES:
            done, total = number * ROUNDS, len(groups) * ROUNDS
            tell = (lambda at, done=done, total=total: progress(done + at, total)) if progress else None
            spreads, behind = _learned(used, rules, to, weekends=weekends, tell=tell)
        found.append(Learned(to, len(used), len(group) - len(used), spreads, behind))
    return tuple(found)


Spreads = dict[str, dict[int, float]]
Way = tuple[int, int, int]  # days of post out, days kept, days of post back


def _learned(
    pieces: list[Piece],
    rules: Rules,
    to: Destination | None,
    *,
    weekends: bool,
    tell: Callable[[int], object] | None,
) -> tuple[Spreads, Spreads]:
    """The shares of each leg, and the pieces that stand behind each."""
    shares = [
        _start(
            leg, spread, range(LONGEST_KEPT + 1) if leg == "kept_by_voter" else range(1, max(spread) + MORE_DAYS + 1)
        )
        for leg, spread in zip(LEGS, legs_of(rules, to or Destination.IN_COUNTY), strict=True)
    ]
    start = shares
    trips = Counter((piece.mailed, piece.returned) for piece in pieces)
    ways = {mailed: _ways(rules, mailed, shares, weekends=weekends) for mailed, _ in trips}
    known = [(ways[mailed].get(returned, []), number) for (mailed, returned), number in trips.items()]
    expected: list[dict[int, float]] = []
    for at in range(1, ROUNDS + 1):
        expected = [defaultdict(float) for _ in LEGS]
        for possible, number in known:
            chances = [shares[0][out] * shares[1][kept] * shares[2][back] for out, kept, back in possible]
            total = sum(chances)
            if total <= 0:
                continue
            for way, chance in zip(possible, chances, strict=True):
                part = number * chance / total
                for leg, days in enumerate(way):
                    expected[leg][days] += part
        whole = sum(expected[0].values())
        if whole <= 0:
            break
        shares = [
            {
                days: (expected[at_leg].get(days, 0.0) / whole + _HELD[leg] * start[at_leg][days]) / (1 + _HELD[leg])
                for days in start[at_leg]
            }
            for at_leg, leg in enumerate(LEGS)
        ]
        if tell is not None:
            tell(at)
    spreads = {leg: _rounded(spread) for leg, spread in zip(LEGS, shares, strict=True)}
    behind = {
        leg: {days: pieces_.get(days, 0.0) for days in spreads[leg]}
        for leg, pieces_ in zip(LEGS, expected, strict=True)
    }
    return spreads, behind


def _start(leg: str, spread: Mapping[int, float], days: Iterable[int]) -> dict[int, float]:
    every = sorted({*spread, *days})
    return {day: (1 - _OPEN[leg]) * spread.get(day, 0.0) + _OPEN[leg] / len(every) for day in every}


def _ways(rules: Rules, mailed: date, shares: list[dict[int, float]], *, weekends: bool) -> dict[date, list[Way]]:
    """Every way by which a ballot mailed on this day is on record as back on a day."""
    found: dict[date, list[Way]] = defaultdict(list)
    for out in shares[0]:
        arrived = after_post_days(rules, mailed, out)
        for kept in shares[1]:
            taken = after_post_days(rules, arrived + timedelta(days=kept), 0)
            for back in shares[2]:
                day = after_post_days(rules, taken, back)
                while not weekends and not is_mailing_day(rules, day):  # nobody was there to write it down
                    day += DAY
                found[day].append((out, kept, back))
    return found


def _rounded(spread: Mapping[int, float]) -> dict[int, float]:
    """Shares to a thousandth that add up to exactly 1, those below it left out."""
    kept = {days: round(share, 3) for days, share in spread.items() if share >= 0.0005}
    most = max(kept, key=lambda days: kept[days])
    kept[most] = round(kept[most] + 1 - sum(kept.values()), 3)
    return kept


def as_toml(learned: Iterable[Learned]) -> str:
    """What was learned as entries to paste, each with the pieces behind it. Nothing of it holds until it is adopted."""
    lines = [
        "# Learned from ballots that went out and came back. Only the days of mailing and of return are on record: the",
        "# round trip is learned; the days of the post are held near the entries that the rules had. Who gets a packet",
        "# weeks before the election keeps it for longer than who asked for a replacement. Look at each figure, paste",
        "# what is right in place of the present entries, check the file, and have it adopted.",
    ]
    for found in learned:
        section = "[transit]" if found.to is None else f"[transit.{found.to.value}]"
        more = f"; {found.left_out:,} were not used" if found.left_out else ""
        if not found.spreads:
            lines += [
                "",
                f"# {section}: {found.pieces:,} pieces{more}: too few to learn from, at least {LEAST_PIECES}.",
            ]
            continue
        lines += ["", f"{section}  # {found.pieces:,} pieces{more}"]
        for leg in LEGS:
            inner = ", ".join(f"{days} = {share}" for days, share in found.spreads[leg].items())
            told = ", ".join(f"{days}: {number:.0f}" for days, number in found.behind[leg].items())
            lines += [f"# pieces behind each: {told}", f"{leg} = {{ {inner} }}"]
    return "\n".join(lines) + "\n"
