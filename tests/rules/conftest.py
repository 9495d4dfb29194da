"""The rules of an invented office, as text and as rules."""

from pathlib import Path

import pytest

from replacements.rules.office import Rules, parse_rules

SALTGRASS = Path(__file__).with_name("saltgrass.toml")


@pytest.fixture(scope="session")
def saltgrass_text() -> str:
    return SALTGRASS.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def saltgrass(saltgrass_text: str) -> Rules:
    return parse_rules(saltgrass_text)
