"""How much what stands in a mail speaks for each kind: log-odds, added up from evidence that is shown with its words.

No kind of evidence counts twice in full, so that a long mail is no surer than a short one only by repeating itself.
"""

from __future__ import annotations

import re

from replacements.reading.evidence import (
    CAUSES,
    FAULTS,
    GONE,
    PIECES,
    SHORT,
    Weighed,
    Weight,
    is_close,
    nearest_to,
    share_of,
)
from replacements.reading.scanning import Hit, Scan
from replacements.reading.scene import Scene
from replacements.reading.strangers import strangers
from replacements.reading.topics import TOPIC_CONCEPTS, topics_of
from replacements.reading.types import Kind, Topic

_ONLY = re.compile(r"\b(?:only|just|solo|sólo|solamente|nom[aá]s|[uú]nicamente|chỉ)\b|만\b", re.I)


class Weigher(Scene):
    """Weighs one mail."""

    def weigh(self) -> Weighed:
        """Everything, in the order in which one kind depends on another."""
        odds = self.result.odds
        strange = self._other()
        odds[Kind.WITHDRAWAL] = self._withdrawal()
        withdrawn = odds[Kind.WITHDRAWAL] > 0
        odds[Kind.MISSING_MATERIALS] = self._materials()
        odds[Kind.ADDRESS_CHANGE] = self._address()
        odds[Kind.ASSISTANCE] = self._assistance()
        odds[Kind.NOT_RECEIVED] = self._not_received() - (3.5 if withdrawn else 0)
        odds[Kind.SPOILED_BALLOT] = self._spoiled() - (3.5 if withdrawn else 0)
        odds[Kind.QUESTION] = self._question()
        odds[Kind.DETAILS] = self._details()
        # "Other" means none of the rest: it stands beside a request only where it is strong.
        odds[Kind.OTHER] = strange - (1.5 if strange < 0.8 and max(odds.values()) > 0.2 else 0.0)
        # Club news and invoices use our words too; somebody's own ballot among them makes it a voter's mail again.
        news = min(3, len(self.body.all("bulk"))) * (
            0.8 if self.body.has("own_ballot") else 1.6 if self.context else 3.0
        )
        for kind in odds:
            if kind is not Kind.OTHER:
                odds[kind] -= 4.0 if strange > 0.5 else news
        return self.result

    def _add(self, kind: Kind, hit: Hit, weight: float, *, scan: Scan | None = None) -> None:
        cause = CAUSES.get(hit.concept)
        self.result.evidence.append(Weight(kind, hit, scan or self.body, weight, cause))

    def _sum(self, kind: Kind) -> float:
        """The best evidence of each concept in full for the first, less for the rest, capped."""
        best: dict[str, float] = {}
        for e in self.result.evidence:
            if e.kind is kind:
                best[e.hit.concept] = max(best.get(e.hit.concept, -9.0), e.weight)
        ordered = sorted(best.values(), reverse=True)
        return min(5.0, sum(w if i == 0 else w * 0.45 for i, w in enumerate(ordered)))

    def _from_subject(self, kind: Kind, concepts: dict[str, float], share: float = 0.75) -> None:
        if self.subject is None:
            return
        for concept, weight in concepts.items():
            for hit in self.subject.real(concept)[:1]:
                self._add(kind, hit, weight * share, scan=self.subject)

    def _spoiled(self) -> float:
        b = self.body
        for hit in self.faults:
            about = "ballot" if hit.concept == "mismark" else self._object(hit)
            if about not in ("envelope", "form"):
                grounded = hit.concept == "mismark" or self._is_grounded(hit)
                self._add(Kind.SPOILED_BALLOT, hit, FAULTS[hit.concept] * share_of(about, hit.concept, grounded))
        self._from_subject(Kind.SPOILED_BALLOT, FAULTS)
        fault = self._sum(Kind.SPOILED_BALLOT)
        wants = self.wants
        for hit in wants[:3]:
            self._add(Kind.SPOILED_BALLOT, hit, 1.6)
        if not wants:
            self._from_subject(Kind.SPOILED_BALLOT, {"want": 1.6})
        gone = bool(self.gone) or bool(self.subject and self.subject.real(*GONE))
        wanted = bool(wants) or bool(self.subject and self.subject.real("want"))
        odds = -2.4 + fault + (1.6 if wanted else 0.0) + self._setting()
        if fault and b.all("whatnow"):
            odds += 0.5
        if not wanted and not fault and b.has("own_ballot") and b.real("whatnow") and not (self.gone or self.sent):
            hit = b.real("whatnow")[0]
            self._add(Kind.SPOILED_BALLOT, hit, 1.6)
            odds += 1.6 if max(self.result.odds.values()) <= 0 and not b.all("unsure") else 0.0
        if wanted and not fault:
            others = (Kind.MISSING_MATERIALS, Kind.ASSISTANCE)
            elsewhere = gone or any(self.result.odds[k] > 0 for k in others)
            moving = self.result.odds[Kind.ADDRESS_CHANGE] > 0
            odds += -2.0 if elsewhere or b.all("resend") else -0.3 if moving else 1.3
        if wanted and gone and fault < 2.2 and self.result.odds[Kind.NOT_RECEIVED] > 0.5:
            odds -= 2.5
        if self.fine:
            odds -= 0.8 if wants else 3.2
        if b.real("never", "stolen", "undeliverable") and not b.real("mismark"):
            odds -= 3.0
        if self._heading_says(*GONE) and not self._heading_says(*FAULTS):
            odds -= 2.0
        plain = bool(self.faults) and {h.concept for h in self.faults} <= {"ruin", "goof"} and not wanted
        if plain and (self.result.odds[Kind.ASSISTANCE] > 0 or self.words > 2 * SHORT):
            odds -= 1.2
        if b.all("unsure", "need_asked") and not wanted:
            odds -= 1.6
        if self.result.hypothetical and not wants:
            odds -= 2.5
        if self.sent and not wanted:
            odds -= 3.5
        if b.all("have_two"):
            odds -= 2.0
        if self.answering and not fault:
            odds -= 2.0
        return odds

    def _not_received(self) -> float:
        b = self.body
        for hit in self.gone:
            here = {h.concept for h in b.all("ballot", *PIECES) if h.sentence == hit.sentence}
            if here & set(PIECES) and "ballot" not in here and not any(self._object(w) == "ballot" for w in self.wants):
                continue
            if (b.asked[hit.sentence] and self.sent) or not self._is_own(hit):
                continue
            self._add(Kind.NOT_RECEIVED, hit, GONE[hit.concept])
        self._from_subject(Kind.NOT_RECEIVED, GONE)
        gone = self._sum(Kind.NOT_RECEIVED)
        if not gone and not self.faults:
            for hit in b.real("resend")[:1]:
                self._add(Kind.NOT_RECEIVED, hit, 1.8)
        odds = -2.4 + self._sum(Kind.NOT_RECEIVED) + self._setting() - (0.0 if self.context else 0.3)
        odds += 1.2 if self.wants or b.real("resend") else 0.0
        if self.sent and not (b.real("stolen", "undeliverable") and self.wants):
            odds -= 3.0
        if self._heading_says(*FAULTS) and not self._heading_says(*GONE):
            odds -= 2.0
        if b.all("unworried"):
            odds -= 2.6
        if self.fine and not self.wants:
            odds -= 2.6
        if self.result.ballot_missing:
            odds -= 2.0
        if self.result.odds[Kind.MISSING_MATERIALS] > 1.5 and not self.wants:
            odds -= 2.0
        strong = max((FAULTS[h.concept] for h in self.faults if h.concept in ("mismark", "damage")), default=0.0)
        if strong and gone <= 3.2 and not b.real("never", "stolen", "undeliverable"):
            odds -= 1.5
        if b.all("have_two"):
            odds -= 3.0
        return odds

    def _materials(self) -> float:
        b = self.body
        pieces = b.all(*PIECES)
        for hit in b.all("lacking", "never"):
            near = [p for p in b.all("ballot", *PIECES) if p.sentence == hit.sentence]
            if not near or hit.supposed:
                continue
            # "No envelope for the ballot": what is named behind the word is lacking, where words stand so.
            behind = [p for p in near if p.start >= hit.start]
            nearest = behind[0] if behind and self.language != "ko" else nearest_to(hit, near, b)
            if not is_close(hit, nearest):
                continue
            if nearest.concept in PIECES:
                self._add(Kind.MISSING_MATERIALS, hit, 3.0 if hit.concept == "lacking" else 2.4)
            elif _ONLY.search(b.words(hit)):  # "only the ballot came": the ballot is there, and something else is not
                self._add(Kind.MISSING_MATERIALS, hit, 2.4)
            elif hit.concept == "lacking" and b.all("packet", "envelope"):
                self.result.ballot_missing = hit
                self._add(Kind.MISSING_MATERIALS, hit, 3.0)
        for hit in b.real("bad_envelope"):
            self._add(Kind.MISSING_MATERIALS, hit, 2.8 if pieces or b.all("packet") else 1.6)
        for hit in b.real("want_envelope"):
            self._add(Kind.MISSING_MATERIALS, hit, 2.2 if pieces else 1.0)
        for hit in b.real("just_envelope"):
            self._add(Kind.MISSING_MATERIALS, hit, 2.2)
        for hit in self.faults:
            if (
                hit.concept != "mismark"
                and self._object(hit) in ("envelope", "form")
                and not b.has("corporate", "junk")
            ):
                self._add(Kind.MISSING_MATERIALS, hit, 2.3)
        if self.subject is not None and self.subject.all("envelope", "form"):
            self._from_subject(Kind.MISSING_MATERIALS, {"lacking": 2.6, "bad_envelope": 2.4, "want_envelope": 2.0})
        odds = -2.3 + self._sum(Kind.MISSING_MATERIALS) + (0.5 if self.context or pieces else -1.0)
        if self.result.hypothetical or (self.sent and not b.real("want_envelope")):
            odds -= 2.0
        if self.result.odds[Kind.WITHDRAWAL] > 0 and not b.real("want_envelope", "just_envelope"):
            odds -= 2.0
        if self.fine and pieces:
            odds += 0.8
        elif self.wants and b.real("mismark") and not b.real("want_envelope", "bad_envelope"):
            odds -= 1.5
        return odds

    def _address(self) -> float:
        b = self.body
        for concept, weight in {"moved": 2.2, "new_address": 2.6, "send_elsewhere": 2.8}.items():
            for hit in b.real(concept):
                self._add(Kind.ADDRESS_CHANGE, hit, weight)
        self._from_subject(Kind.ADDRESS_CHANGE, {"moved": 2.0, "new_address": 2.6, "send_elsewhere": 2.4})
        only_moved = {e.hit.concept for e in self.result.evidence if e.kind is Kind.ADDRESS_CHANGE} == {"moved"}
        busy = 0.8 if only_moved and self.faults else 0.0
        return -2.5 - busy + self._sum(Kind.ADDRESS_CHANGE) + (0.6 if self.context or self.words <= SHORT else -1.0)

    def _assistance(self) -> float:
        b = self.body
        for hit in b.real("assist"):
            self._add(Kind.ASSISTANCE, hit, 3.0)
        for hit in b.real("assist_weak"):
            self._add(Kind.ASSISTANCE, hit, 0.8 if self.faults or self.wants else 1.5)
        for hit in b.real("topic_helper"):
            self._add(Kind.ASSISTANCE, hit, 2.0)
        self._from_subject(Kind.ASSISTANCE, {"assist": 3.0})
        odds = -2.5 + self._sum(Kind.ASSISTANCE) + (0.5 if self.context else -0.5)
        return odds - (1.0 if self.faults and not b.real("topic_helper") and len(b.real("assist")) < 2 else 0.0)

    def _question(self) -> float:
        b, odds = self.body, self.result.odds
        request = max(
            odds[k] for k in (Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED, Kind.MISSING_MATERIALS, Kind.ADDRESS_CHANGE)
        )
        requested = request > 0 or odds[Kind.WITHDRAWAL] > 0
        topics = topics_of(b, requested=requested, hypothetical=self.result.hypothetical)
        if odds[Kind.ASSISTANCE] > 0:
            topics = {t: h for t, h in topics.items() if t is not Topic.HELPER or b.real("topic_helper")}
        if not b.text.strip() and self.subject is not None:
            topics = topics_of(self.subject, requested=requested, hypothetical=False)
        for topic, hit in topics.items():
            if topic is Topic.HELPER and odds[Kind.ASSISTANCE] > 0:
                continue
            if topic in TOPIC_CONCEPTS:
                self._add(Kind.QUESTION, hit, 2.8)
        for hit in b.all("have_two")[:1]:
            self._add(Kind.QUESTION, hit, 3.0)
        score = -1.9 + self._sum(Kind.QUESTION) + (0.4 if self.context else 0.0)
        if requested or odds[Kind.ASSISTANCE] > 0:
            return score
        doubt = b.all("unsure", "need_asked")
        if doubt:
            self._add(Kind.QUESTION, doubt[0], 2.2)
        elif self.result.hypothetical and not self.answering:
            self._add(Kind.QUESTION, self.faults_supposed[0], 2.4)
        elif any(b.asked) and (self.context or b.has("envelope", "form", "packet") or self._plain_and_short()):
            for hit in (b.all("ask") or b.all("context", "ballot", "envelope", "own"))[:1]:
                self._add(Kind.QUESTION, hit, 2.0)
        return -1.9 + self._sum(Kind.QUESTION) + (0.4 if self.context else 0.0)

    def _withdrawal(self) -> float:
        b = self.body
        weights = {"found": 2.6, "never_mind": 2.8, "cancel_request": 3.0, "no_need": 2.4, "in_person_instead": 2.3}
        for concept, weight in weights.items():
            for hit in b.real(concept):
                if concept in ("in_person_instead", "found") and b.asked[hit.sentence]:
                    continue
                self._add(Kind.WITHDRAWAL, hit, weight)
        for hit in b.denied("want", "resend"):
            self._add(Kind.WITHDRAWAL, hit, 2.2 if self.fine else 1.5)
        self._from_subject(Kind.WITHDRAWAL, weights, 0.5)
        odds = -2.2 + self._sum(Kind.WITHDRAWAL) + (0.4 if self.context or self.words <= SHORT else 0.0)
        if b.all("have_two"):
            odds -= 3.0
        if {e.hit.concept for e in self.result.evidence if e.kind is Kind.WITHDRAWAL} == {"found"}:
            odds -= 1.5 if self.answering else 0.9 if self.words > 2 * SHORT and not self.gone else 0.0
        if (self.wants or self.faults) and not b.real("never_mind", "cancel_request"):
            odds -= 1.5 if self.wants and self.faults else 0.6 if self.wants else 0.0
        last = max((e.hit.start for e in self.result.evidence if e.kind is Kind.WITHDRAWAL), default=0)
        if any(h.start > last for h in self.wants) and not b.real("cancel_request", "never_mind"):
            odds -= 2.0
        return odds

    def _details(self) -> float:
        b, odds = self.body, self.result.odds
        if not self.answering and not self.statement:
            return -4.0
        answers = b.all("answer")
        for hit in answers[:3]:
            self._add(Kind.DETAILS, hit, 1.4)
        for hit in b.all("form_attached")[:1]:
            self._add(Kind.DETAILS, hit, 1.8)
        score = -2.2 + (2.4 if self.answering else 1.0) + self._sum(Kind.DETAILS) + (0.8 if self.words <= 60 else 0.0)
        if any(c.isdigit() for c in b.text):
            score += 1.2
        kinds = (
            Kind.SPOILED_BALLOT,
            Kind.NOT_RECEIVED,
            Kind.MISSING_MATERIALS,
            Kind.ADDRESS_CHANGE,
            Kind.QUESTION,
            Kind.WITHDRAWAL,
            Kind.ASSISTANCE,
        )
        if max(odds[k] for k in kinds) > 0.3:
            score -= 3.0
        return score

    def _other(self) -> float:
        evidence, several = strangers(self.body)
        self.result.evidence.extend(evidence)
        if self.subject is not None:
            self._from_subject(Kind.OTHER, {"junk": 1.5, "press": 2.0, "job": 2.0, "threat": 2.0, "commands": 2.5})
        return -2.0 + self._sum(Kind.OTHER) + 1.2 * several
