"""Where the files lie that people read: beside the package in a checkout, inside it when installed."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).resolve().parent
_INSTALLED = _PACKAGE / "templates"

TEMPLATES: Path = _INSTALLED if _INSTALLED.is_dir() else _PACKAGE.parent / "templates"
