"""The compose file names only what is there: settings that exist, commands that exist, files that are copied."""

from pathlib import Path
from typing import Any

import yaml

from replacements import settings

ROOT = Path(__file__).parents[1]


def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    return loaded


def test_every_service_of_the_house_is_there() -> None:
    assert set(compose()["services"]) == {"web", "worker", "schedule", "redis", "postgres"}


def test_every_setting_is_one_that_the_service_knows() -> None:
    for name in compose()["services"]["web"]["environment"]:
        assert name.removesuffix("_FILE") in settings.__doc__ or name in (settings.__doc__ or "")


def test_secrets_are_files_and_never_values() -> None:
    text = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
    assert "PASSWORD:" not in text.replace("_FILE:", "")
    assert all(set(secret) == {"file"} for secret in compose()["secrets"].values())


def test_the_image_copies_files_that_exist_and_installs_by_hash() -> None:
    build = compose()["services"]["web"]["build"]["dockerfile_inline"]
    copied = [word for line in build.splitlines() if line.startswith("COPY") for word in line.split()[1:-1]]
    assert all((ROOT / name).exists() for name in copied)
    assert "--require-hashes" in build


def test_the_locks_name_exact_versions_with_hashes_and_no_host() -> None:
    for name in ("requirements.lock", "requirements-test.lock"):
        text = (ROOT / name).read_text(encoding="utf-8")
        pins = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
        assert pins
        assert all("==" in pin for pin in pins)
        assert text.count("--hash=sha256:") >= len(pins)
        assert "://" not in text
