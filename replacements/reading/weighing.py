"""How much what stands in a mail speaks for each kind: log-odds, added up from evidence that is shown with its words.

No kind of evidence counts twice in full, so that a long mail is no surer than a short one only by repeating itself.
"""

from __future__ import annotations

from replacements.reading.cue_files import cue_file
from replacements.reading.evidence import (
    CAUSES,
    FAULTS,
    GONE,
    PIECES,
    SHORT,
    STRANGE,
    Weighed,
    Weight,
    is_close,
    nearest_to,
    share_of,
)
from replacements.reading.scanning import Hit, Scan
from replacements.reading.topics import TOPIC_CONCEPTS, topics_of
from replacements.reading.types import Kind, Topic


class Weigher:
    """Weighs one mail. `subject` is None where the writer did not write it; `answering`: the office had asked."""

    def __init__(self, body: Scan, subject: Scan | None, *, language: str, answering: bool, statement: bool) -> None:
        self.language = language
        self.body = body
        self.subject = subject
        self.answering = answering
        self.statement = statement
        self.result = Weighed()
        self.words = len(body.text.split())
        b = body
        self.context = b.has("context", "ballot") or bool(subject and subject.has("context", "ballot"))
        self.context_here = self.context or bool(b.real("mismark"))
        self.wants = self._wants()
        self.fine = bool(b.real("fine"))
        self.faults = [h for h in b.real(*FAULTS) if not self._of_another(h)]
        self.faults_supposed = b.supposed(*FAULTS, *GONE)
        self.gone = b.real(*GONE)
        self.sent = [h for h in b.real("sent") if not self._denied_sentence(h)]
        if self.faults_supposed and not self.faults and not self.gone:
            self.wants = [h for h in self.wants if not b.asked[h.sentence]]
            self.result.hypothetical = True

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
        odds[Kind.OTHER] = strange
        # Club news and invoices use our words too; somebody's own ballot among them makes it a voter's mail again.
        news = min(3, len(self.body.all("bulk"))) * (
            0.8 if self.body.has("own_ballot") else 1.6 if self.context else 3.0
        )
        for kind in odds:
            if kind is not Kind.OTHER:
                odds[kind] -= 4.0 if strange > 0.5 else news
        return self.result

    def _wants(self) -> list[Hit]:
        """Asking for another ballot, not for an envelope or a form."""
        pieces = {h.sentence for h in self.body.real("want_envelope", "just_envelope")}
        ballots = {h.sentence for h in self.body.all("ballot")}
        # "What is the last day to ask for another?" asks for a date.
        dates = {h.sentence for h in self.body.all("topic_deadline") if self.body.asked[h.sentence]}
        urged = {h.sentence for h in self.body.all("please")}
        # "Do I need a new one?" is no wish yet.
        doubts = [(h.start, h.end) for h in self.body.all("need_asked")]
        return [
            h
            for h in self.body.real("want")
            if (h.sentence not in pieces or h.sentence in ballots)
            and (h.sentence not in dates or h.sentence in urged)
            and not any(start < h.end and h.start < end for start, end in doubts)
        ]

    def _is_own(self, hit: Hit) -> bool:
        """Whether a loss is told of one ballot, not, in passing, of ballots in general or of other mail."""
        b = self.body
        if self.wants or b.real("resend") or not any(b.asked) or not self._knows("own"):
            return True
        return any(h.sentence == hit.sentence for h in b.all("own"))

    def _knows(self, concept: str) -> bool:
        return any(c.concept == concept for c in cue_file(self.language).cues)

    def _of_another(self, hit: Hit) -> bool:
        """Somebody else's mishap, told while the writer's own ballot is fine or nothing is wanted."""
        others = [h for h in self.body.all("other_person") if h.sentence == hit.sentence and h.start < hit.end]
        return bool(others) and not self.wants and (self.fine or any(self.body.asked) or bool(self.body.all("hypo")))

    def _denied_sentence(self, hit: Hit) -> bool:
        return hit.denied or hit.supposed

    def _object(self, hit: Hit) -> str:
        """What the hit is about: the nearest thing named in its sentence, else the ballot."""
        near = [
            h
            for h in self.body.all("ballot", "own", "thing", *PIECES)
            if h.sentence == hit.sentence
            and not (h.concept in ("own", "thing") and h.start < hit.end and hit.start < h.end)
        ]
        if all(h.concept == "own" for h in near):
            if (self.fine or not self.body.all("ballot")) and self.body.all("envelope"):
                return "envelope"
            return "ballot"
        nearest = nearest_to(hit, near, self.body).concept
        if nearest == "own":
            named = [h for h in near if h.concept in ("ballot", *PIECES)]
            return nearest_to(hit, named, self.body).concept if named else "ballot"
        return nearest

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
            odds -= 2.2
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

    def _is_grounded(self, hit: Hit) -> bool:
        """Whether a mishap is told in the neighbourhood of the ballot, or of "it", or in a mail too short to stray."""
        b = self.body
        if not self._knows("own"):
            return True
        if self.words > SHORT // 2 and not self.wants and any(b.asked) and not b.has("own_ballot"):
            return any(h.sentence == hit.sentence for h in b.all("own"))
        if self.words <= 2 * SHORT:
            return True
        near = {hit.sentence - 1, hit.sentence, hit.sentence + 1}
        return any(h.sentence in near for h in b.all("ballot", "own", "want", "page"))

    def _setting(self) -> float:
        """Whether the mail is about voting at all, told from all its words."""
        if self.context:
            return 0.8
        if self.context_here:
            return 0.5
        if self.words <= SHORT:
            return 0.2
        return 0.0 if self.body.has("own") and not self.body.has("bulk", "junk", "job") else -1.4

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
            nearest = nearest_to(hit, near, b)
            if not is_close(hit, nearest):
                continue
            if nearest.concept in PIECES:
                self._add(Kind.MISSING_MATERIALS, hit, 3.0 if hit.concept == "lacking" else 2.4)
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
        self.result.topics = tuple(topics)
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
        elif self.result.hypothetical:
            self._add(Kind.QUESTION, self.faults_supposed[0], 2.4)
        elif any(b.asked) and (self.context or b.has("envelope", "form", "packet") or self._plain_and_short()):
            for hit in (b.all("ask") or b.all("context", "ballot", "envelope", "own"))[:1]:
                self._add(Kind.QUESTION, hit, 2.0)
        return -1.9 + self._sum(Kind.QUESTION) + (0.4 if self.context else 0.0)

    def _plain_and_short(self) -> bool:
        return self.words <= 2 * SHORT and not self.body.has("bulk", "junk", "job", "press")

    def _withdrawal(self) -> float:
        b = self.body
        weights = {"found": 2.6, "never_mind": 2.8, "cancel_request": 3.0, "no_need": 2.4, "in_person_instead": 1.8}
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
        b = self.body
        for concept, weight in STRANGE.items():
            if concept == "bulk" and self.context and not b.has("junk"):
                weight = 0.8
            hits = b.real(concept)
            # One stray word of an advertisement in a voter's own request is no advertisement.
            stray = len(hits) == 1 and concept in ("junk", "job", "complaint") and b.has("own_ballot")
            for hit in hits:
                self._add(Kind.OTHER, hit, weight * (0.6 if stray else 1.0))
        # A firm speaks of offices and savings, a voter of a ballot of their own.
        trade = b.real("corporate")
        if len({b.words(h).lower() for h in trade}) >= 2 and not b.has("own_ballot"):
            self._add(Kind.OTHER, trade[0], 2.2)
        if self.subject is not None:
            self._from_subject(Kind.OTHER, {"junk": 1.5, "press": 2.0, "job": 2.0, "threat": 2.0, "commands": 2.5})
        several = sum(1 for c in ("junk", "press", "commands", "threat") if len(b.real(c)) > 1)
        return -2.0 + self._sum(Kind.OTHER) + 1.2 * several
