"""What one mail holds for the weighing: its cues, whose ballot they are about, and what each mishap befell."""

from __future__ import annotations

from replacements.reading.cue_files import cue_file
from replacements.reading.evidence import FAULTS, GONE, PIECES, SHORT, Weighed, nearest_to
from replacements.reading.scanning import Hit, Scan


class Scene:
    """One mail. `subject` is None where the writer did not write it; `answering`: the office had asked."""

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

    def _heading_says(self, *concepts: str) -> bool:
        return self.subject is not None and bool(self.subject.real(*concepts))

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

    def _plain_and_short(self) -> bool:
        return self.words <= 2 * SHORT and not self.body.has("bulk", "junk", "job", "press")
