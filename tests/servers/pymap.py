"""A private IMAP server of another make than Dovecot: pymap, in memory, after STARTTLS. It takes no keywords."""

from __future__ import annotations

import importlib.util
import shutil
import ssl
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from imapclient import IMAPClient

from tests.servers.dovecot import make_certificate
from tests.servers.ports import free_port, stop, wait_for


@dataclass(frozen=True)
class PymapServer:
    """A running server with one user."""

    host: str
    port: int
    user: str
    password: str
    ca_file: str

    @property
    def url(self) -> str:
        return f"imap+starttls://{self.user}@{self.host}:{self.port}/INBOX"

    @contextmanager
    def client(self) -> Iterator[IMAPClient]:
        """A mail program of the test's own, signed in."""
        with IMAPClient(self.host, self.port, ssl=False) as client:
            client.starttls(ssl.create_default_context(cafile=self.ca_file))
            client.login(self.user, self.password)
            yield client

    def append(self, raw: bytes, folder: str = "INBOX") -> int:
        """Deliver a message; returns its UID."""
        with self.client() as client:
            client.append(folder, raw)
            client.select_folder(folder, readonly=True)
            return int(max(client.search("ALL")))

    def messages(self, folder: str = "INBOX") -> int:
        """How many messages lie in this folder."""
        with self.client() as client:
            return int(client.select_folder(folder, readonly=True)[b"EXISTS"])

    def make_anew(self, folder: str) -> None:
        """Delete a folder, if it is there, and make it again: it gets another UIDVALIDITY."""
        with self.client() as client:
            if client.folder_exists(folder):
                client.delete_folder(folder)
            client.create_folder(folder)


@pytest.fixture
def pymap() -> Iterator[PymapServer]:
    if importlib.util.find_spec("pymap") is None or shutil.which("openssl") is None:
        pytest.skip("pymap or openssl is not installed")
    folder = Path(tempfile.mkdtemp(prefix="pm-"))
    try:
        make_certificate(folder)
        server = PymapServer(
            "127.0.0.1", free_port(), "ballots@county.example", "a long password", str(folder / "certificate.pem")
        )
        command = [
            sys.executable, "-c", "from pymap.main import main; main()",
            "--host", server.host, "--port", str(server.port),
            "--cert", server.ca_file, "--key", str(folder / "key.pem"),
            "dict", "--demo-data", "--demo-user", server.user, "--demo-password", server.password,
        ]  # fmt: skip
        with (folder / "said").open("wb") as said:
            process = subprocess.Popen(command, stdout=said, stderr=said)
        try:
            if not wait_for(server.port, process):
                pytest.skip(f"pymap did not start: {(folder / 'said').read_text()[-800:]}")
            with server.client() as client:  # the folders of its demonstration are used, not their mail
                for folder in ("INBOX", "Sent"):
                    client.select_folder(folder)
                    client.delete_messages(client.search("ALL"))
                    client.expunge()
            yield server
        finally:
            stop(process)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
