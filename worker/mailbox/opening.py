"""From the setting REPLACEMENTS_MAILBOX to an open mailbox."""

from __future__ import annotations

from pathlib import Path
from urllib.parse import SplitResult, unquote, urlsplit

from replacements.settings import Settings
from worker.mailbox.imap import ImapPlace, ImapSource
from worker.mailbox.maildir import MaildirSource
from worker.mailbox.source import MailboxTrouble, MailSource

_FORMS = "maildir:PATH, imaps://user@host:993/INBOX or imap+starttls://user@host:143/INBOX"


def open_source(settings: Settings) -> MailSource:
    """Open the mailbox that the settings name; `MailboxTrouble` where it cannot be opened."""
    scheme, _, rest = settings.mailbox.partition(":")
    if scheme == "maildir" and rest:
        return MaildirSource(Path(rest.removeprefix("//")).expanduser())
    if scheme in ("imaps", "imap+starttls"):
        return ImapSource(imap_place(settings))
    if scheme == "imap":
        raise MailboxTrouble(f"The mailbox is named without encryption, which is not used here. Write {_FORMS}.")
    raise MailboxTrouble(f"REPLACEMENTS_MAILBOX is not understood. Write {_FORMS}.")


def imap_place(settings: Settings) -> ImapPlace:
    """The parts of an IMAP address. "@" in a user's name may be written as it is or as %40."""
    try:
        parts: SplitResult = urlsplit(settings.mailbox)
        port = parts.port
    except ValueError as error:
        raise MailboxTrouble(f"REPLACEMENTS_MAILBOX is not understood. Write {_FORMS}.") from error
    user, _, _ = parts.netloc.rpartition("@")
    if ":" in user:
        raise MailboxTrouble("A password does not belong into REPLACEMENTS_MAILBOX: use REPLACEMENTS_MAILBOX_PASSWORD.")
    if not parts.hostname or not user:
        raise MailboxTrouble(f"REPLACEMENTS_MAILBOX lacks the user or the server. Write {_FORMS}.")
    starttls = parts.scheme == "imap+starttls"
    return ImapPlace(
        host=parts.hostname,
        port=port or (143 if starttls else 993),
        user=unquote(user),
        password=settings.mailbox_password,
        folder=unquote(parts.path.strip("/")) or "INBOX",
        starttls=starttls,
        ca_file=settings.ca_file,
    )
