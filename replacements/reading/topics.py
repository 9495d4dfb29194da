"""Which of the questions that a reviewed text answers a mail asks."""

from __future__ import annotations

from replacements.reading.scanning import Hit, Scan
from replacements.reading.types import Topic

TOPIC_CONCEPTS: dict[Topic, str] = {topic: f"topic_{topic.value}" for topic in Topic}
# Words that may stand in a request without asking anything about the topic: they count in a question of their own.
_NEEDS_ASKING = frozenset(Topic) - {Topic.STATUS, Topic.POSTMARK, Topic.WITNESS}
# So telling that a question elsewhere in the mail is most likely about it.
_ANYWHERE = (Topic.DEADLINE, Topic.DROP_BOX, Topic.IDENTIFICATION, Topic.POSTAGE, Topic.IN_PERSON)
_NOT_WITH_REQUEST = frozenset(
    {Topic.STATUS, Topic.WHAT_IF, Topic.ENVELOPE, Topic.PEN, Topic.SECRECY, Topic.PARTIAL, Topic.COUNTED}
)


def topics_of(scan: Scan, *, requested: bool, hypothetical: bool) -> dict[Topic, Hit]:
    """The topics with the words that name each, in the order of the list of topics.

    `requested`: the mail also asks for something to be done, so that only a question of its own counts. `hypothetical`:
    the writer asks what would happen if.
    """
    found: dict[Topic, Hit] = {}
    busy = {h.sentence for h in scan.real("want", "resend", "whatnow")} if requested else set()
    for topic, concept in TOPIC_CONCEPTS.items():
        for hit in scan.all(concept):
            following = scan.asked[hit.sentence : hit.sentence + (1 if requested else 2)]
            asked = any(scan.asked) if topic is Topic.HELPER else any(following)
            if topic in _NEEDS_ASKING and not asked:
                continue
            if requested and (topic in _NOT_WITH_REQUEST or not scan.asked[hit.sentence]):
                continue
            if hit.sentence in busy and "?" not in scan.sentences[hit.sentence].text:
                continue
            found.setdefault(topic, hit)
    if not found and not requested and any(scan.asked):
        for topic in _ANYWHERE:
            for hit in scan.all(TOPIC_CONCEPTS[topic])[:1]:
                found[topic] = hit
    if hypothetical and not requested and Topic.WHAT_IF not in found:
        supposed = scan.supposed(
            "mismark", "damage", "ruin", "goof", "never", "lost", "thrown", "stolen", "undeliverable"
        )
        if supposed and Topic.STATUS not in found:
            found[Topic.WHAT_IF] = supposed[0]
    if (
        Topic.POSTMARK in found
        and Topic.DEADLINE in found
        and found[Topic.DEADLINE].sentence == found[Topic.POSTMARK].sentence
    ):
        del found[Topic.DEADLINE]
    return found
