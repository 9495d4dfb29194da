"""Who sent a message, and what the office's own mail server found about that (RFC 8601, Authentication-Results)."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from authres import AuthenticationResultsHeader
from authres.core import AuthResError

from replacements.mail.guises import notice_guises
from replacements.mail.headers import addresses, received_by
from replacements.mail.letter import Sender, SenderCheck
from replacements.mail.structure import Allowance, Node

_MAX_RESULTS = 8 * 1024  # bytes of one Authentication-Results field
_MAX_FIELDS = 20  # of those fields, from the top: the office's own server writes the topmost
# An address of a private network or of the machine itself, as a server writes it into Received (RFC 1918, RFC 4193).
_PRIVATE = re.compile(
    r"\[(?:IPv6:)?(?:10\.|127\.|192\.168\.|172\.(?:1[6-9]|2\d|3[01])\.|::1\]|f[cd][0-9a-f]{2}:)[0-9a-f.:]*\]?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class _Finding:
    """One method's result. `domain` is what it speaks of, empty where it does not say."""

    method: str
    result: str
    domain: str


def sender_of(
    root: Node, office_addresses: frozenset[str], allowance: Allowance, *, server: str = "", office_name: str = ""
) -> Sender:
    """The sender by the From field. A second From field or address leaves the check without a pass. `server`: by which
    name the office's mail server writes what it found; without it, any host of the office's domain is believed."""
    written = root.all("from")
    found = addresses(written)
    if not found:
        found = addresses(root.all("sender"))
        allowance.notice("no_sender", "The message does not say who wrote it.")
    name, address = next(((n, a) for n, a in found if a), found[0] if found else ("", ""))
    notice_guises(written or root.all("sender"), name, address, office_addresses, office_name, allowance)
    several = len({a for _, a in found if a}) > 1 or len(written) > 1
    if several:
        allowance.notice("several_senders", "The message names more than one sender; the first is shown.")
    reply_to = next((a for _, a in addresses(root.all("reply-to")) if a), "")
    if reply_to and reply_to != address:
        allowance.notice("reply_to_differs", "An answer would go to another address than the one it came from.")
    trusted = frozenset({server.strip().lower().rstrip(".")} if server.strip() else _domains(office_addresses))
    check = _check(_findings(root, trusted), address.rpartition("@")[2])
    if several and check is SenderCheck.PASS:
        check = SenderCheck.NONE
    return Sender(address, name[:300], reply_to, check)


def _domains(office_addresses: frozenset[str]) -> set[str]:
    return {address.rpartition("@")[2].lower() for address in office_addresses}


def _check(findings: list[_Finding], from_domain: str) -> SenderCheck:
    dmarc = _worst(f.result for f in findings if f.method == "dmarc" and f.domain in ("", from_domain))
    if dmarc == "pass":
        return SenderCheck.PASS
    if dmarc == "fail":
        return SenderCheck.FAIL
    spf = [f for f in findings if f.method == "spf"]
    dkim = [f for f in findings if f.method == "dkim"]
    if _worst(f.result for f in spf) == "pass" and any(_aligned(f.domain, from_domain) for f in spf):
        return SenderCheck.PASS
    if any(f.result == "pass" and _aligned(f.domain, from_domain) for f in dkim):
        return SenderCheck.PASS
    spf_result, dkim_result = _worst(f.result for f in spf), _best(f.result for f in dkim)
    outcomes = {spf_result, dkim_result}
    if "fail" in outcomes and outcomes <= {"fail", "softfail", "none", ""}:
        return SenderCheck.FAIL
    return SenderCheck.NONE


def _findings(root: Node, domains: frozenset[str]) -> list[_Finding]:
    """What the trusted fields say: of the office's own server, and above the Received field below the one that the
    office's edge wrote, since anything further down was there before the message reached the office. A field above the
    edge's Received field was surely written here; where there is one, those below it are not looked at."""
    received = [at for at, (name, _) in enumerate(root.fields) if name == "received"]
    edge = 0
    while edge + 1 < len(received) and _is_inner(root.fields[received[edge]][1]):
        edge += 1
    received = received[edge:]
    end = received[1] if len(received) > 1 else len(root.fields)
    host = received_by(root.first("received"))
    above: list[_Finding] = []
    below: list[_Finding] = []
    written = [at for at, (name, _) in enumerate(root.fields[:end]) if name == "authentication-results"]
    for at in written[:_MAX_FIELDS]:
        authority, clauses = _authority(root.fields[at][1])
        trusted = any(_within(authority, domain) for domain in domains) if domains else bool(host) and authority == host
        if trusted:
            (above if received and at < received[0] else below).extend(_read_results(clauses))
    return above or below


def _is_inner(received: bytes) -> bool:
    """Whether a Received field tells of a hop within the house: from an address of a private network, or handed over
    by a program of the same machine. The name that the other side gave itself is not looked at: it can say anything."""
    text = received[:2000].decode("utf-8", "replace")
    came, _, _ = text.partition(";")[0].partition(" by ")
    handed = re.search(r"\bwith\s+(?:local|lmtp)", text, re.IGNORECASE)
    return bool(_PRIVATE.search(came)) or (handed is not None and not re.search(r"\[[\d.:a-f]+\]", came, re.IGNORECASE))


def _authority(value: bytes) -> tuple[str, list[str]]:
    """Who wrote one field, and its results as they stand."""
    clauses = _clauses(value[:_MAX_RESULTS].decode("utf-8", "replace"))
    return clauses[0].split()[0].lower().rstrip(".") if clauses[0].split() else "", clauses[1:]


def _read_results(clauses: Iterable[str]) -> list[_Finding]:
    """Each result is read by itself: one odd clause must not lose the others."""
    return [finding for clause in clauses for finding in _read_result(clause)]


@lru_cache(maxsize=1000)  # a mail server says the same of very many messages
def _read_result(clause: str) -> tuple[_Finding, ...]:
    try:
        header = AuthenticationResultsHeader.parse(f"Authentication-Results: x; {clause}")
    except (AuthResError, ValueError, IndexError, RecursionError):
        return ()
    methods = [(str(result.method).lower(), result) for result in header.results or ()]
    return tuple(
        _Finding(method, str(result.result).lower(), _domain_of(method, result.properties))
        for method, result in methods
    )


def _clauses(text: str) -> list[str]:
    """The clauses between semicolons; comments are left out, quoted strings kept whole."""
    out: list[str] = [""]
    depth, quoted = 0, False
    pieces: list[str] = []
    for character in text:
        if quoted:
            quoted = character != '"'
        elif character == "(":
            depth += 1
            continue
        elif character == ")" and depth:
            depth -= 1
            continue
        elif depth:
            continue
        elif character == '"':
            quoted = True
        elif character == ";":
            out[-1] = "".join(pieces).strip()
            pieces.clear()
            out.append("")
            continue
        pieces.append(character)
    out[-1] = "".join(pieces).strip()
    return [out[0], *(clause for clause in out[1:] if clause)]


def _domain_of(method: str, properties: Iterable[object]) -> str:
    wanted = {"spf": ("mailfrom", "helo"), "dkim": ("d", "i"), "dmarc": ("from",)}.get(method, ())
    said = {str(getattr(p, "name", "")).lower(): str(getattr(p, "value", "")) for p in properties}
    for name in wanted:
        if said.get(name):
            return re.sub(r"[<>\"]", "", said[name]).rpartition("@")[2].lower().rstrip(".")
    return ""


def _aligned(domain: str, from_domain: str) -> bool:
    """Relaxed alignment (RFC 7489 section 3.1): the same domain, or one below the other."""
    if not domain or not from_domain or "." not in domain or "." not in from_domain:
        return False
    return _within(domain, from_domain) or _within(from_domain, domain)


def _within(host: str, domain: str) -> bool:
    return bool(domain) and (host == domain or host.endswith(f".{domain}"))


def _worst(results: Iterable[str]) -> str:
    """Where several fields speak of the same method, the worst counts: one of them may be forged."""
    order = ("fail", "softfail", "permerror", "temperror", "policy", "neutral", "none", "pass")
    found = [result for result in results if result in order]
    return min(found, key=order.index, default="")


def _best(results: Iterable[str]) -> str:
    """Of several signatures one good one is enough (RFC 6376 section 6.1)."""
    order = ("pass", "temperror", "permerror", "neutral", "policy", "none", "fail")
    found = [result for result in results if result in order]
    if "fail" in found and not {"pass", "temperror"} & set(found):
        return "fail"
    return min(found, key=order.index, default="")
