"""A private Dovecot for tests: IMAP over TLS with a certificate made for the occasion, one user, mail in a Maildir."""

from __future__ import annotations

import getpass
import grp
import os
import pwd
import shutil
import signal
import ssl
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from imapclient import IMAPClient

from tests.servers.ports import free_port, stop, wait_for
from tests.servers.tokens import TokenServer

_CONFIGURATION = """
base_dir = {folder}/run
state_dir = {folder}/state
log_path = {folder}/log
protocols = imap
listen = 127.0.0.1
ssl = required
ssl_cert = <{folder}/certificate.pem
ssl_key = <{folder}/key.pem
mail_location = maildir:{folder}/mail
first_valid_uid = 0
auth_mechanisms = plain xoauth2 oauthbearer
auth_failure_delay = 0
auth_cache_size = 0
mail_max_userip_connections = 50
mail_plugins = quota
namespace own {{
  inbox = yes
  separator = /
}}
namespace archive {{
  prefix = Archive/
  separator = /
  location = maildir:{folder}/archive
  subscriptions = no
}}
namespace shared {{
  type = public
  prefix = Shared/
  separator = /
  location = maildir:{folder}/shared
  subscriptions = no
}}
plugin {{
  quota = maildir:Archive:ns=Archive/
  quota_rule = *:bytes=2000
}}
default_internal_user = {internal}
default_login_user = {login}
default_internal_group = {group}
service anvil {{
  chroot =
}}
service imap-login {{
  chroot =
  inet_listener imap {{
    port = {starttls_port}
  }}
  inet_listener imaps {{
    port = {port}
    ssl = yes
  }}
}}
passdb {{
  driver = passwd-file
  master = yes
  args = {folder}/deputies
}}
passdb {{
  driver = passwd-file
  args = {folder}/users
  mechanisms = plain
}}
passdb {{
  driver = oauth2
  args = {folder}/tokens.conf
  mechanisms = xoauth2 oauthbearer
}}
userdb {{
  driver = static
  args = uid={mail_user} gid={mail_group} home={folder}/home
}}
"""

_TOKENS = """
introspection_mode = auth
introspection_url = http://127.0.0.1:{port}/
username_attribute = email
active_attribute = active
active_value = yes
"""


@dataclass(frozen=True)
class DovecotServer:
    """A running Dovecot. `port` speaks TLS at once (`url`), `starttls_port` after STARTTLS (`starttls_url`).

    `tokens`: who may sign in by access token. `deputy` may sign in on behalf of everybody. Folders under `Archive/`
    have room for 2,000 bytes together, those under `Shared/` belong to nobody.
    """

    host: str
    port: int
    starttls_port: int
    user: str
    password: str
    ca_file: str
    folder: Path
    tokens: TokenServer
    deputy: str = "clerk@county.example"

    @property
    def url(self) -> str:
        return f"imaps://{self.user}@{self.host}:{self.port}/INBOX"

    @property
    def starttls_url(self) -> str:
        return f"imap+starttls://{self.user}@{self.host}:{self.starttls_port}/INBOX"

    @contextmanager
    def client(self) -> Iterator[IMAPClient]:
        """A mail program of the test's own, signed in."""
        context = ssl.create_default_context(cafile=self.ca_file)
        with IMAPClient(self.host, self.port, ssl=True, ssl_context=context) as client:
            client.login(self.user, self.password)
            yield client

    def append(self, raw: bytes, folder: str = "INBOX") -> int:
        """Deliver a message; returns its UID."""
        with self.client() as client:
            client.append(folder, raw)
            client.select_folder(folder, readonly=True)
            return int(max(client.search("ALL")))

    def flags(self, uid: int, folder: str = "INBOX") -> set[str]:
        with self.client() as client:
            client.select_folder(folder, readonly=True)
            return {flag.decode() for flag in client.get_flags([uid])[uid]} - {"\\Recent"}

    def messages(self, folder: str = "INBOX") -> int:
        """How many messages lie in this folder."""
        with self.client() as client:
            return int(client.select_folder(folder, readonly=True)[b"EXISTS"])

    def hang_up(self) -> None:
        """Cut every connection of the user, as an administrator would: without a word, in the middle of anything."""
        for process in Path("/proc").iterdir():
            if process.name.isdigit() and self._is_ours(process):
                os.kill(int(process.name), signal.SIGKILL)

    def _is_ours(self, process: Path) -> bool:
        """Whether it is a process of this server's that serves IMAP."""
        try:
            words = (process / "cmdline").read_bytes().split(b"\0")
            return words[0] == b"dovecot/imap" and str(self.folder) in os.readlink(process / "cwd")
        except OSError:
            return False

    def make_anew(self, folder: str) -> None:
        """Delete a folder, if it is there, and make it again: it gets another UIDVALIDITY."""
        with self.client() as client:
            if client.folder_exists(folder):
                client.delete_folder(folder)
            client.create_folder(folder)


def make_certificate(folder: Path) -> None:
    """A certificate for this machine that vouches for itself: `certificate.pem` and `key.pem` in this folder."""
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=127.0.0.1",
         "-addext", "subjectAltName=IP:127.0.0.1,DNS:localhost",
         "-addext", "keyUsage=critical,digitalSignature,keyCertSign",
         "-keyout", str(folder / "key.pem"), "-out", str(folder / "certificate.pem")],
        check=True,
        capture_output=True,
    )  # fmt: skip


def _accounts() -> dict[str, str]:
    """Whom the server runs as: accounts of its own where the test is root, else the tester for everything."""
    if os.getuid() == 0:
        nobody = pwd.getpwnam("nobody")
        return {
            "internal": "dovecot",
            "login": "dovenull",
            "group": "dovecot",
            "mail_user": str(nobody.pw_uid),
            "mail_group": str(nobody.pw_gid),
        }
    me, group = getpass.getuser(), grp.getgrgid(os.getgid()).gr_name
    return {"internal": me, "login": me, "group": group, "mail_user": str(os.getuid()), "mail_group": str(os.getgid())}


@contextmanager
def private_dovecot() -> Iterator[DovecotServer]:
    """A running server, gone afterwards; what it cannot do without is missing: the test is skipped."""
    program = shutil.which("dovecot") or shutil.which("dovecot", path="/usr/sbin")
    if program is None or shutil.which("openssl") is None:
        pytest.skip("dovecot or openssl is not installed")
    # Names of sockets must stay short, and the server's own accounts must be able to go in.
    folder = Path(tempfile.mkdtemp(prefix="dc-", dir="/tmp"))
    try:
        folder.chmod(0o755)
        make_certificate(folder)
        accounts = _accounts()
        for name in ("mail", "home", "archive", "shared"):
            (folder / name).mkdir()
            os.chown(folder / name, int(accounts["mail_user"]), int(accounts["mail_group"]))
        (folder / "users").write_text("ballots@county.example:{PLAIN}a long password\n", encoding="utf-8")
        (folder / "users").chmod(0o644)
        (folder / "deputies").write_text("clerk@county.example:{PLAIN}a long password\n", encoding="utf-8")
        (folder / "deputies").chmod(0o644)
        tokens = TokenServer(free_port())
        (folder / "tokens.conf").write_text(_TOKENS.format(port=tokens.port), encoding="utf-8")
        tokens.start()
        port, starttls_port = free_port(), free_port()
        settings = _CONFIGURATION.format(folder=folder, port=port, starttls_port=starttls_port, **accounts)
        (folder / "dovecot.conf").write_text(settings, encoding="utf-8")
        process = subprocess.Popen(
            [program, "-F", "-c", str(folder / "dovecot.conf")],
            stdout=subprocess.DEVNULL,
            stderr=(folder / "errors").open("wb"),
        )
        try:
            if not wait_for(port, process):
                said = (folder / "errors").read_text() + (
                    (folder / "log").read_text() if (folder / "log").exists() else ""
                )
                pytest.skip(f"dovecot did not start: {said[-800:]}")
            yield DovecotServer(
                "127.0.0.1",
                port,
                starttls_port,
                "ballots@county.example",
                "a long password",
                str(folder / "certificate.pem"),
                folder,
                tokens,
            )
        finally:
            stop(process)
            tokens.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def dovecot() -> Iterator[DovecotServer]:
    with private_dovecot() as server:
        yield server
