"""A backup as one file: a gzipped tar of parts, a manifest with the SHA-256 of each, and the manifest's own SHA-256.

Reading it back checks every byte before anything is used: a file that was cut off, changed, or holds a part that its
manifest does not name is refused. The hashes tell damage, not malice: whoever can write the file can make them anew.
What tells malice is the ledger inside, held against a head that was signed and kept elsewhere.
"""

from __future__ import annotations

import gzip
import io
import json
import os
import tarfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import file_digest, sha256
from pathlib import Path, PurePosixPath
from typing import Any

from replacements.store.csv_files import FileTrouble

FORM = 1  # raised when older programs could not read what is written
MANIFEST, SEAL = "manifest.json", "manifest.sha256"
_PIECE = 1 << 20


@dataclass(frozen=True, slots=True)
class Archive:
    """A backup that was checked: its manifest, and the folder where its parts lie under their names."""

    manifest: Mapping[str, Any]
    folder: Path

    def part(self, name: str) -> Path:
        return self.folder / name


def write(path: Path, folder: Path, manifest: Mapping[str, Any]) -> dict[str, Any]:
    """Pack every file under `folder` into `path`, for its owner alone, whole or not at all. Returns the manifest as it
    was written, with `form` and `parts` added. Raises FileTrouble."""
    names = sorted(found.relative_to(folder).as_posix() for found in folder.rglob("*") if found.is_file())
    parts = [{"name": name, "bytes": (folder / name).stat().st_size, "sha256": digest(folder / name)} for name in names]
    whole = {"form": FORM, **manifest, "parts": parts}
    text = json.dumps(whole, indent=1, sort_keys=True).encode()
    unfinished = path.with_name(f".{path.name}.part")
    try:
        unfinished.unlink(missing_ok=True)
        with os.fdopen(os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            with tarfile.open(fileobj=file, mode="w:gz", compresslevel=3) as tar:
                _add(tar, MANIFEST, text)
                for name in names:
                    tar.add(folder / name, arcname=name, recursive=False)
                _add(tar, SEAL, sha256(text).hexdigest().encode())
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(path)
    except OSError as error:
        raise FileTrouble(f"{path}: the backup cannot be written: {error.strerror}. Nothing was left there.") from error
    finally:
        unfinished.unlink(missing_ok=True)
    return whole


def read(path: Path, folder: Path) -> Archive:
    """Unpack `path` into `folder` and check every part. Raises FileTrouble with what is wrong; then nothing of it is
    to be used."""
    try:
        manifest = _unpack(path, folder)
    except FileNotFoundError as error:
        raise FileTrouble(f"{path}: there is no such file.") from error
    except (tarfile.TarError, gzip.BadGzipFile, zlib.error, EOFError, ValueError) as error:
        raise FileTrouble(
            f"{path}: this is no backup, or it is damaged ({type(error).__name__}). Nothing was restored. "
            "Take another copy of it, or an earlier backup."
        ) from error
    except OSError as error:
        raise FileTrouble(f"{path}: the backup cannot be read: {error.strerror}. Nothing was restored.") from error
    for part in manifest["parts"]:
        there = folder / part["name"]
        if not there.is_file() or there.stat().st_size != part["bytes"] or digest(there) != part["sha256"]:
            raise FileTrouble(
                f"{path}: the part {part['name']} is not what the manifest says. Nothing was restored. "
                "Take another copy of the file, or an earlier backup."
            )
    return Archive(manifest, folder)


def digest(path: Path) -> str:
    """SHA-256 of a file, hexadecimal."""
    with path.open("rb") as file:
        return file_digest(file, "sha256").hexdigest()


def _unpack(path: Path, folder: Path) -> dict[str, Any]:
    texts: dict[str, bytes] = {}
    names: set[str] = set()
    with gzip.open(path) as whole, tarfile.open(fileobj=whole, mode="r:") as tar:
        for member in tar:
            file = tar.extractfile(member) if member.isreg() else None
            pure = PurePosixPath(member.name)
            if file is None or pure.is_absolute() or ".." in pure.parts or member.name in names:
                raise ValueError("a part that no backup has")
            names.add(member.name)
            if member.name in (MANIFEST, SEAL):
                texts[member.name] = file.read()
                continue
            target = folder / pure
            target.parent.mkdir(parents=True, exist_ok=True)
            with target.open("wb") as out:
                while piece := file.read(_PIECE):
                    out.write(piece)
        while whole.read(_PIECE):  # to the end, where gzip's own sum stands
            pass
    if set(texts) != {MANIFEST, SEAL} or sha256(texts[MANIFEST]).hexdigest().encode() != texts[SEAL]:
        raise ValueError("no manifest, or not as it was written")
    manifest: dict[str, Any] = json.loads(texts[MANIFEST])
    if manifest["form"] > FORM:
        raise FileTrouble(f"{path}: a newer version of this program wrote this backup. Restore it with that one.")
    if names - {MANIFEST, SEAL} != {part["name"] for part in manifest["parts"]}:
        raise ValueError("parts that the manifest does not name")
    return manifest


def _add(tar: tarfile.TarFile, name: str, content: bytes) -> None:
    info = tarfile.TarInfo(name)
    info.size, info.mode = len(content), 0o600
    tar.addfile(info, io.BytesIO(content))
