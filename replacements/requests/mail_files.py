"""Mail on disk, for rehearsals: `.eml` files, mbox files, Maildirs, and folders of those, in the order given."""

from __future__ import annotations

import mailbox
from collections.abc import Iterator
from pathlib import Path

from replacements.store.csv_files import FileTrouble


def messages_in(path: Path) -> Iterator[tuple[str, bytes]]:
    """(name, raw bytes) of every message under `path`. Names are relative to `path` and stable.

    Raises FileTrouble where `path` is not there. What is in a folder and is no mail is passed over.
    """
    if not path.exists():
        raise FileTrouble(f"{path}: there is no such file or folder. Expected .eml files, an mbox file, or a Maildir.")
    if path.is_file():
        yield from _in_file(path, path.name)
    else:
        yield from _in_folder(path, "")


def _in_folder(folder: Path, prefix: str) -> Iterator[tuple[str, bytes]]:
    if (folder / "cur").is_dir() and (folder / "new").is_dir():
        files = [f for sub in ("cur", "new") for f in (folder / sub).iterdir() if f.is_file()]
        for file in sorted(files, key=lambda f: f.name):
            yield f"{prefix}{file.name}", file.read_bytes()
        return
    for entry in sorted(folder.iterdir(), key=lambda p: p.name):
        if entry.name.startswith("."):
            continue
        if entry.is_dir():
            yield from _in_folder(entry, f"{prefix}{entry.name}/")
        elif entry.suffix.lower() == ".eml" or _is_mbox(entry):
            yield from _in_file(entry, f"{prefix}{entry.name}")


def _in_file(file: Path, name: str) -> Iterator[tuple[str, bytes]]:
    if file.suffix.lower() != ".eml" and _is_mbox(file):
        box = mailbox.mbox(file, create=False)
        try:
            for number, key in enumerate(box.iterkeys(), start=1):
                yield f"{name}#{number}", box.get_bytes(key)
        finally:
            box.close()
    else:
        yield name, file.read_bytes()


def _is_mbox(file: Path) -> bool:
    with file.open("rb") as opened:
        return opened.read(5) == b"From "
