"""How the service is doing, as a machine is told: a status for whoever asks, all parts for who may see them.

The status and its words (pass, warn, fail) are those of "Health Check Response Format for HTTP APIs", an Internet-Draft
(draft-inadarei-api-health-check-06, 2021; from memory), whose media type is given too.
"""

from __future__ import annotations

from typing import Any

from replacements.health.types import Health, State

MEDIA_TYPE = "application/health+json"
_STATUS = {State.WORKING: "pass", State.UNUSED: "pass", State.BEHIND: "warn", State.BROKEN: "fail"}


def status(health: Health) -> str:
    """`fail`: it cannot do its work. `warn`: it can, and something is late or waits for a person. `pass`: neither."""
    if not health.serves:
        return "fail"
    return "pass" if health.in_order else "warn"


def in_a_word(health: Health) -> str:
    """For everybody: working, or behind. A service that cannot do its work is behind too."""
    return "working" if health.in_order else "behind"


def as_json(health: Health) -> dict[str, Any]:
    """Every part with its state and words, as one object."""
    return {
        "status": status(health),
        "time": health.at.isoformat(timespec="seconds"),
        "checks": {one.part.value: [{"status": _STATUS[one.state], "output": one.words}] for one in health.findings},
    }
