"""Access tokens for mail servers that want OAuth 2.0 in place of a password: a command of the office's own prints one.

How a token is got differs from provider to provider, and the secret behind it is no business of this service. So the
setting names a command, run without a shell; the first line that it prints is the token. The token is used until a
server refuses it; then the command is run again. Neither it nor what the command says ever reaches a log.
"""

from __future__ import annotations

import shlex
import subprocess
import threading

SECONDS = 60  # that the command may take

_lock = threading.Lock()
_tokens: dict[str, str] = {}


class TokenTrouble(Exception):
    """The command gave no token. The text is for the person who runs the service and holds no secret."""


def token(command: str, *, refused: str = "") -> str:
    """The token that `command` gives, from memory where it was asked before. `refused`: the token that a server did not
    take, so that another is fetched, unless somebody else has fetched one meanwhile. Raises TokenTrouble."""
    with _lock:
        known = _tokens.get(command, "")
        if not known or known == refused:
            known = _tokens[command] = _run(command)
        return known


def forget(command: str) -> None:
    """Ask the command again next time."""
    with _lock:
        _tokens.pop(command, None)


def sign_in_line(user: str, access_token: str) -> str:
    """What the mechanism XOAUTH2 sends, before Base64."""
    return f"user={user}\x01auth=Bearer {access_token}\x01\x01"


def _run(command: str) -> str:
    try:
        words = shlex.split(command)
        done = subprocess.run(  # noqa: S603 - the office's own setting, and no shell reads it
            words, stdin=subprocess.DEVNULL, capture_output=True, timeout=SECONDS, check=False
        )
    except (OSError, ValueError, IndexError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else "its quotes do not match"
        raise TokenTrouble(f"The command for the access token cannot be run: {why}.") from None
    except subprocess.TimeoutExpired:
        raise TokenTrouble(f"The command for the access token took longer than {SECONDS} seconds.") from None
    if done.returncode != 0:
        raise TokenTrouble(f"The command for the access token failed with exit code {done.returncode}.")
    lines = done.stdout.decode("ascii", "replace").split("\n")
    found = lines[0].strip()
    if not found or not found.isascii() or not found.isprintable() or " " in found:
        raise TokenTrouble("The command for the access token printed no token on its first line.")
    return found
