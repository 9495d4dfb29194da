"""Messages with right answers, as files: what the reading is taught by and measured on.

JSON lines: `text`, `kinds`, and where they apply `cause`, `topics`, `subject`, `quoted`, `attachments`, and `kinds_ok`,
`cause_ok`, `topics_ok` (what reasonable clerks might say as well; such a message says nothing about them). `writer`
keeps one writer's messages together, so that nobody is measured on a voice that was learned from. An office's own
corrections have the same form. Files in a folder `drawn` hold messages as a mailbox brings them, in its proportions;
others were written to be hard, or have nothing to do with voting.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from replacements.mail.letter import Attachment, Letter, PartLabel, Sender, TextPart
from replacements.reading.types import Cause, Kind, Topic


class TeachingError(ValueError):
    """A message to teach by cannot be used; the text names the file, the line and what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Example:
    """A message with its right answer. `source`: the name of its file, `writer`: unique over all files."""

    source: str
    writer: str
    letter: Letter
    kinds: frozenset[Kind]
    tolerated: frozenset[Kind] = frozenset()
    cause: Cause | None = None
    causes_tolerated: frozenset[Cause] = frozenset()
    topics: frozenset[Topic] | None = None  # None: not said, or nothing is asked
    topics_tolerated: frozenset[Topic] = frozenset()
    drawn: bool = False  # as a mailbox brings it

    def answers(self, label: Kind | Cause | Topic) -> bool | None:
        """Whether the label is right; None where this message says nothing about it."""
        if isinstance(label, Topic):
            unsaid = self.topics is None or (label in self.topics_tolerated and label not in self.topics)
            return None if unsaid or self.topics is None else label in self.topics
        if isinstance(label, Cause):
            wanted = bool(self.kinds & {Kind.SPOILED_BALLOT, Kind.NOT_RECEIVED})
            unsaid = (wanted and self.cause is None) or label in self.causes_tolerated
            return self.cause is label if not unsaid or self.cause is label else None
        return None if label in self.tolerated and label not in self.kinds else label in self.kinds


def examples(paths: Iterable[Path]) -> list[Example]:
    """Every message of every `.jsonl` file, or of every one under a folder, in the order of the files' names.
    Raises `TeachingError`."""
    found = []
    for path in paths:
        for file in sorted(path.rglob("*.jsonl")) if path.is_dir() else [path]:
            for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1):
                if line.strip():
                    try:
                        read = example(json.loads(line), file.stem)
                        found.append(replace(read, drawn=file.parent.name == "drawn"))
                    except (KeyError, ValueError, TypeError) as error:
                        what = f"it has no {error}" if isinstance(error, KeyError) else str(error)
                        raise TeachingError(f"{file}, line {number}: {what}") from error
    return found


def example(message: dict[str, Any], source: str = "") -> Example:
    """One message as it stands in a file. Raises KeyError, ValueError or TypeError where it cannot be understood."""
    parts = [TextPart(PartLabel.NEW, message["text"])]
    if message.get("quoted"):
        parts.append(TextPart(PartLabel.QUOTED, message["quoted"]))
    letter = Letter(
        message_id="<1@teaching.example>",
        sender=Sender("writer@teaching.example", ""),
        subject=message.get("subject", ""),
        arrived=datetime(2026, 10, 12, 9, 0, tzinfo=UTC),
        parts=tuple(parts),
        attachments=tuple(Attachment(n, "application/pdf", 900) for n in message.get("attachments", ())),
    )
    return Example(
        source,
        f"{source}/{message.get('writer', '')}",
        letter,
        frozenset(Kind(k) for k in message["kinds"]),
        frozenset(Kind(k) for k in message.get("kinds_ok", ())),
        Cause(message["cause"]) if message.get("cause") else None,
        frozenset(Cause(c) for c in message.get("cause_ok", ())),
        frozenset(Topic(t) for t in message["topics"]) if "topics" in message else None,
        frozenset(Topic(t) for t in message.get("topics_ok", ())),
    )
