"""Settings of one installation, from the environment. Legal rules are not settings: they are in the office's rules.

| variable | meaning | default |
|---|---|---|
| REPLACEMENTS_DATA | data folder | `./var` |
| REPLACEMENTS_DATABASE | SQLAlchemy URL, `postgresql://…`, or a path for SQLite | `<data>/replacements.db` |
| REPLACEMENTS_MAILBOX | `maildir:PATH`, `imaps://user@host:993/INBOX`, `imap+starttls://…` | `maildir:<data>/mailbox` |
| REPLACEMENTS_MAILBOX_TOKEN_COMMAND | prints an access token for IMAP (XOAUTH2), in place of the password | empty |
| REPLACEMENTS_MAILBOX_KEPT | IMAP folder to which a message moves once it is stored | empty: it stays, marked |
| REPLACEMENTS_SENT | IMAP folder that gets a copy of every reply; `no`: none | the server's own, else `Sent` |
| REPLACEMENTS_OUTBOX | `maildir:PATH`, `smtp://host`, `smtp+starttls://u@host`, `smtps://…` | `maildir:<data>/sent` |
| REPLACEMENTS_OUTBOX_TOKEN_COMMAND | prints an access token for SMTP (XOAUTH2), in place of the password | empty |
| REPLACEMENTS_OUTBOX_LIMIT | most replies sent, such as `20/minute 1000/day` (also `/hour`) | `60/minute` |
| REPLACEMENTS_REDIS | `redis://…`; empty: tasks run in process | empty |
| REPLACEMENTS_MAILBOX_PASSWORD, REPLACEMENTS_OUTBOX_PASSWORD | passwords | empty |
| REPLACEMENTS_SECRET_FILE | key that signs the dashboard's cookies; made when missing | `<data>/secret` |
| REPLACEMENTS_WEIGHTS | the office's own weights of the reading (`replacements reading train`) | the package's own |
| REPLACEMENTS_ROLL_WEIGHTS | what was measured on the roll (`replacements roll weights`) | `<data>/roll-weights.toml` |
| REPLACEMENTS_LEDGER_KEY | key that signs the ledger's head (`replacements ledger key`) | `<data>/ledger-key` |
| REPLACEMENTS_MAIL_KEYS | file of keys that stored mail is sealed with (`replacements keys`) | empty: not sealed |
| REPLACEMENTS_BACKUPS | folder for a backup each night (`replacements backup`) | empty: none |
| REPLACEMENTS_BACKUPS_KEPT | how many of those are kept, 1 to 400 | `14` |
| REPLACEMENTS_CA_FILE | certificates to trust for IMAP and SMTP instead of the system's | empty |
| REPLACEMENTS_HTTPS | `yes` where the dashboard is reached by https (cookies are then sent by https only) | `no` |
| REPLACEMENTS_METRICS_TOKEN | who shows this token is told figures for monitoring, at `/metrics` | empty: nobody is |
| REPLACEMENTS_SIGN_IN_IDLE | minutes without use, then one signs in again: 1 to 60 | `60` |
| REPLACEMENTS_SIGN_IN_LONGEST | hours after which one signs in again in any case, 1 to 24 | `12` |
| REPLACEMENTS_OIDC_ISSUER | issuer of the office's own sign-in service (OpenID Connect) | empty: none |
| REPLACEMENTS_OIDC_CLIENT, REPLACEMENTS_OIDC_SECRET | what this one is to that service, and their secret | empty |
| REPLACEMENTS_OIDC_CLAIM | the claim that names the account, as entered on the page People | `sub` |

REPLACEMENTS_DATABASE, the passwords, REPLACEMENTS_METRICS_TOKEN and REPLACEMENTS_OIDC_SECRET may stand in files
instead: REPLACEMENTS_DATABASE_FILE names one, and so on. The sign-in service is told `<this service>/sign-in/answer`
as the address to come back to; that way of signing in, and security keys, need the extra `sign-in` to be installed.

REPLACEMENTS_MAILBOX may name several folders and mailboxes, with spaces between; they share the password, or the
token. In a folder's name a space is written `%20`, and a slash parts the levels whatever sign the server uses. A shared
mailbox is either a folder that the server shows to the user who signs in (`imaps://me@host/Shared/ballots`), or signed
in to on its behalf (`imaps://ballots@host/INBOX?sign_in=me`); with an access token the user is the shared mailbox.
Where the server announces new mail (IDLE) it is stored at once; the folder is looked at every minute besides.

A token's command is run without a shell, and its first line is the token; it is run again when a server refuses that.
REPLACEMENTS_SENT is a folder of the first IMAP mailbox. Where a provider files sent mail by itself, say `no`, or every
copy is there twice.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

SHORTEST_TOKEN = 24  # characters


class SettingTrouble(Exception):
    """A setting that cannot be used, in plain words."""


@dataclass(frozen=True, slots=True)
class Settings:
    """The settings of one installation; see the table in this module's docstring."""

    data: Path
    database: str
    mailbox: str
    outbox: str
    redis: str = ""
    mailbox_password: str = ""
    mailbox_token_command: str = ""
    mailbox_kept: str = ""
    sent: str = ""
    outbox_password: str = ""
    outbox_token_command: str = ""
    outbox_limit: str = ""
    secret_file: Path = Path("secret")
    ca_file: str = ""
    https: bool = False
    weights: Path | None = None
    roll_weights: Path = Path("roll-weights.toml")
    ledger_key: Path = Path("ledger-key")
    mail_keys: Path | None = None
    backups: Path | None = None
    backups_kept: int = 14
    metrics_token: str = ""
    sign_in_idle: int = 60  # minutes
    sign_in_longest: int = 12  # hours
    oidc_issuer: str = ""
    oidc_client: str = ""
    oidc_secret: str = ""
    oidc_claim: str = "sub"

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None, *, data: Path | None = None) -> Settings:
        """Read the settings. `data` (from the command line) goes before REPLACEMENTS_DATA."""
        env = os.environ if environment is None else environment
        folder = (data or Path(env.get("REPLACEMENTS_DATA") or "var")).resolve()
        return cls(
            data=folder,
            database=_secret(env, "REPLACEMENTS_DATABASE") or str(folder / "replacements.db"),
            mailbox=env.get("REPLACEMENTS_MAILBOX") or f"maildir:{folder / 'mailbox'}",
            outbox=env.get("REPLACEMENTS_OUTBOX") or f"maildir:{folder / 'sent'}",
            redis=env.get("REPLACEMENTS_REDIS", ""),
            mailbox_password=_secret(env, "REPLACEMENTS_MAILBOX_PASSWORD"),
            mailbox_token_command=env.get("REPLACEMENTS_MAILBOX_TOKEN_COMMAND", ""),
            mailbox_kept=env.get("REPLACEMENTS_MAILBOX_KEPT", ""),
            sent=env.get("REPLACEMENTS_SENT", ""),
            outbox_password=_secret(env, "REPLACEMENTS_OUTBOX_PASSWORD"),
            outbox_token_command=env.get("REPLACEMENTS_OUTBOX_TOKEN_COMMAND", ""),
            outbox_limit=env.get("REPLACEMENTS_OUTBOX_LIMIT", ""),
            secret_file=Path(env.get("REPLACEMENTS_SECRET_FILE") or folder / "secret"),
            ca_file=env.get("REPLACEMENTS_CA_FILE", ""),
            https=env.get("REPLACEMENTS_HTTPS", "no").lower() in ("yes", "true", "1"),
            weights=Path(env["REPLACEMENTS_WEIGHTS"]).resolve() if env.get("REPLACEMENTS_WEIGHTS") else None,
            roll_weights=Path(env.get("REPLACEMENTS_ROLL_WEIGHTS") or folder / "roll-weights.toml").resolve(),
            ledger_key=Path(env.get("REPLACEMENTS_LEDGER_KEY") or folder / "ledger-key").resolve(),
            mail_keys=Path(env["REPLACEMENTS_MAIL_KEYS"]).resolve() if env.get("REPLACEMENTS_MAIL_KEYS") else None,
            backups=Path(env["REPLACEMENTS_BACKUPS"]).resolve() if env.get("REPLACEMENTS_BACKUPS") else None,
            backups_kept=_whole(env, "REPLACEMENTS_BACKUPS_KEPT", 14, most=400, unit="backups"),
            metrics_token=_long_enough(_secret(env, "REPLACEMENTS_METRICS_TOKEN")),
            sign_in_idle=_whole(env, "REPLACEMENTS_SIGN_IN_IDLE", 60, most=60, unit="minutes"),
            sign_in_longest=_whole(env, "REPLACEMENTS_SIGN_IN_LONGEST", 12, most=24, unit="hours"),
            oidc_issuer=env.get("REPLACEMENTS_OIDC_ISSUER", "").strip(),
            oidc_client=env.get("REPLACEMENTS_OIDC_CLIENT", "").strip(),
            oidc_secret=_secret(env, "REPLACEMENTS_OIDC_SECRET"),
            oidc_claim=env.get("REPLACEMENTS_OIDC_CLAIM", "").strip() or "sub",
        )

    def weights_in_use(self) -> Path | None:
        """The file of weights to read by; None: the package's own, since none is set or it was not made yet."""
        return self.weights if self.weights is not None and self.weights.exists() else None

    def roll_weights_in_use(self) -> Path | None:
        """The file of figures measured on the office's roll; None: nothing was measured yet."""
        return self.roll_weights if self.roll_weights.exists() else None

    def secret(self) -> bytes:
        """The key for cookies, made on first use and readable by its owner only."""
        if not self.secret_file.exists():
            self.secret_file.parent.mkdir(parents=True, exist_ok=True)
            with os.fdopen(os.open(self.secret_file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
                file.write(secrets.token_hex(32))
        return self.secret_file.read_text(encoding="ascii").strip().encode()


def _whole(env: Mapping[str, str], name: str, default: int, *, most: int, unit: str) -> int:
    text = env.get(name, "").strip()
    if not text:
        return default
    if not text.isdecimal() or not 1 <= int(text) <= most:
        raise SettingTrouble(f"{name} is {text!r}; a whole number of {unit} from 1 to {most} is expected.")
    return int(text)


def _long_enough(token: str) -> str:
    """A token that nobody guesses; none at all is fine."""
    if token and len(token) < SHORTEST_TOKEN:
        raise SettingTrouble(
            f"REPLACEMENTS_METRICS_TOKEN has {len(token)} characters; at least {SHORTEST_TOKEN} that were chosen by "
            "chance are expected, as `openssl rand -hex 24` prints them."
        )
    return token


def _secret(env: Mapping[str, str], name: str) -> str:
    file = env.get(f"{name}_FILE")
    if not file:
        return env.get(name, "")
    try:
        return Path(file).read_text(encoding="utf-8").strip()
    except OSError as error:
        raise SettingTrouble(f"{name}_FILE names {file}, which cannot be read: {error.strerror}.") from error
