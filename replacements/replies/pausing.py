"""The switch that stops all sending. It stays where it was put, whatever is started anew, and the health page shows it.

Replies are written and queued as ever; none leaves until a person lets them. What is being sent at that moment goes.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from replacements.store.tables import Condition

NAME = "sending"


def pause(session: Session, *, by: str, why: str, at: datetime) -> None:
    """Stop all sending. `why` is shown to everybody who sees the health page, and holds nothing personal."""
    text = (
        f"All sending is paused by {_line(by)}: {_line(why) or 'no reason given'}. Replies are kept until it goes on."
    )
    session.merge(Condition(name=NAME, ok=False, text=text, at=at))


def go_on(session: Session, *, by: str, at: datetime) -> bool:
    """Let replies go again. Returns whether sending was paused."""
    if not paused(session):
        return False
    session.merge(Condition(name=NAME, ok=True, text=f"Sending goes on; it was let go by {_line(by)}.", at=at))
    return True


def paused(session: Session) -> str:
    """Why nothing is sent, in words; empty where sending is not paused."""
    found = session.get(Condition, NAME)
    return found.text if found is not None and not found.ok else ""


def _line(text: str) -> str:
    return " ".join(text.split())[:200].rstrip(".")
