"""From the setting REPLACEMENTS_MAILBOX to open mailboxes. It may name several, with spaces between."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import SplitResult, parse_qs, unquote, urlsplit

from replacements.settings import Settings
from worker.mailbox.connection import ImapPlace
from worker.mailbox.imap import ImapSource
from worker.mailbox.maildir import MaildirSource
from worker.mailbox.source import MailboxTrouble, MailSource

_FORMS = "maildir:PATH, imaps://user@host:993/INBOX or imap+starttls://user@host:143/INBOX"
_BETWEEN = re.compile(r"\s+(?=(?:maildir:|imaps?:|imap\+starttls:))")  # a path may hold spaces itself


def addresses(settings: Settings) -> list[str]:
    """The addresses of all mailboxes and folders that are read, each as it is written."""
    return _BETWEEN.split(settings.mailbox.strip())


def is_imap(address: str) -> bool:
    return address.partition(":")[0] in ("imaps", "imap+starttls")


def open_source(settings: Settings, address: str = "") -> MailSource:
    """Open this mailbox, else the first that the settings name; `MailboxTrouble` where it cannot be opened."""
    address = address or addresses(settings)[0]
    scheme, _, rest = address.partition(":")
    if scheme == "maildir" and rest:
        return MaildirSource(Path(rest.removeprefix("//")).expanduser())
    if is_imap(address):
        return ImapSource(imap_place(settings, address))
    if scheme == "imap":
        raise MailboxTrouble(f"The mailbox is named without encryption, which is not used here. Write {_FORMS}.")
    raise MailboxTrouble(f"REPLACEMENTS_MAILBOX is not understood. Write {_FORMS}.")


def imap_place(settings: Settings, address: str) -> ImapPlace:
    """The parts of an IMAP address. "@" in a user's name may be written as it is or as %40."""
    try:
        parts: SplitResult = urlsplit(address)
        port = parts.port
        asked = parse_qs(parts.query, strict_parsing=bool(parts.query))
    except ValueError as error:
        raise MailboxTrouble(f"REPLACEMENTS_MAILBOX is not understood. Write {_FORMS}.") from error
    user, _, _ = parts.netloc.rpartition("@")
    if ":" in user:
        raise MailboxTrouble("A password does not belong into REPLACEMENTS_MAILBOX: use REPLACEMENTS_MAILBOX_PASSWORD.")
    if not parts.hostname or not user:
        raise MailboxTrouble(f"REPLACEMENTS_MAILBOX lacks the user or the server. Write {_FORMS}.")
    if set(asked) - {"sign_in"}:
        raise MailboxTrouble(
            "REPLACEMENTS_MAILBOX may say ?sign_in=USER after the folder (who signs in to a shared mailbox), no more."
        )
    starttls = parts.scheme == "imap+starttls"
    return ImapPlace(
        host=parts.hostname,
        port=port or (143 if starttls else 993),
        user=unquote(user),
        password=settings.mailbox_password,
        folder=unquote(parts.path.strip("/")) or "INBOX",
        starttls=starttls,
        ca_file=settings.ca_file,
        sign_in=asked.get("sign_in", [""])[0],
        token_command=settings.mailbox_token_command,
        put_away=settings.mailbox_kept,
    )
