"""The audit of what the program stands on: what it refuses in a lock file, and that it never takes "not asked" for
"nothing found"."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PROGRAM = Path(".ci") / "audit"
FILES = ("pyproject.toml", "requirements.lock", "requirements-sign-in.lock", "requirements-test.lock", str(PROGRAM))
IN_ORDER, WRONG, NOT_ASKED = 0, 1, 3
Audit = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """The project's own lists of packages, to be spoiled."""
    (tmp_path / ".ci").mkdir()
    for name in FILES:
        shutil.copy(ROOT / name, tmp_path / name)
    return tmp_path


@pytest.fixture
def audit(project: Path) -> Audit:
    def run(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, project / PROGRAM, *arguments]
        return subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)

    return run


def change(project: Path, name: str, old: str, new: str) -> None:
    text = (project / name).read_text(encoding="utf-8")
    assert old in text
    (project / name).write_text(text.replace(old, new), encoding="utf-8")


def pinned(project: Path, package: str) -> str:
    """How a package is pinned, as in `click==8.1.8`."""
    lines = (project / "requirements.lock").read_text(encoding="utf-8").splitlines()
    return next(line.split()[0] for line in lines if line.startswith(f"{package}=="))


def answering(folder: Path, answers: dict[str, object]) -> Path:
    """A stand-in for pip-audit: to each service its answer, as pip-audit writes it; a text that is none where the
    service is not to be reached. Its exit status is 0, as pip-audit's is where it asked about nothing."""
    program = folder / "pip-audit"
    program.write_text(
        f"#!{sys.executable}\nimport json, sys\n"
        f"answers = json.loads({json.dumps(json.dumps(answers))})\n"
        "answer = answers.get(sys.argv[sys.argv.index('--vulnerability-service') + 1], 'no connection')\n"
        "print(json.dumps(answer) if isinstance(answer, dict) else answer)\n",
        encoding="utf-8",
    )
    program.chmod(0o755)
    return program


def answer(*packages: dict[str, object]) -> dict[str, object]:
    return {"dependencies": list(packages), "fixes": []}


GOOD = {"name": "click", "version": "8.1.8", "vulns": []}
BAD = {
    "name": "flask",
    "version": "3.0.0",
    "vulns": [{"id": "CVE-0000-0001", "fix_versions": ["3.0.1"], "aliases": []}],
}
SKIPPED = {"name": "jinja2", "skip_reason": "Dependency not found and could not be audited"}


def test_the_projects_own_locks_are_in_order(audit: Audit) -> None:
    done = audit("--offline")
    assert done.returncode == IN_ORDER, done.stderr


def test_a_package_without_a_hash_is_refused(project: Path, audit: Audit) -> None:
    text = (project / "requirements.lock").read_text(encoding="utf-8")
    pin = pinned(project, "click")
    lines = text.splitlines()
    at = next(number for number, line in enumerate(lines) if line.startswith(pin))
    lines[at] = pin
    while lines[at + 1].lstrip().startswith("--hash"):
        del lines[at + 1]
    (project / "requirements.lock").write_text("\n".join(lines) + "\n", encoding="utf-8")
    done = audit("--offline")
    assert done.returncode == WRONG
    assert "click has no SHA-256" in done.stderr


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ("click>=8 \\", "no package with one exact version"),
        ("click==8.* \\", "no package with one exact version"),
        ("click @ git+ssh \\", "no package with one exact version"),
        ("clique==8.1.8 \\", "lacks click"),
        ("--index-url https://packages.county.example/simple\nclick==8.1.8 \\", "names a host"),
        ("--extra-index-url packages\nclick==8.1.8 \\", "no package with one exact version"),
    ],
)
def test_what_is_not_one_exact_package_from_any_registry_is_refused(
    project: Path, audit: Audit, new: str, said: str
) -> None:
    change(project, "requirements.lock", f"{pinned(project, 'click')} \\", new)
    done = audit("--offline")
    assert done.returncode == WRONG
    assert said in done.stderr


def test_a_hash_of_another_kind_is_refused(project: Path, audit: Audit) -> None:
    change(project, "requirements.lock", "--hash=sha256:", "--hash=md5:")
    assert audit("--offline").returncode == WRONG


def test_an_empty_lock_is_refused(project: Path, audit: Audit) -> None:
    (project / "requirements.lock").write_text("# nothing\n", encoding="utf-8")
    done = audit("--offline")
    assert done.returncode == WRONG
    assert "names no package at all" in done.stderr


def test_what_is_tested_is_what_is_installed(project: Path, audit: Audit) -> None:
    pin = pinned(project, "click")
    change(project, "requirements-test.lock", f"{pin} \\", "click==0.0.1 \\")
    done = audit("--offline")
    assert done.returncode == WRONG
    assert "click is tested in another version" in done.stderr


def test_a_dependency_that_no_lock_holds_is_refused(project: Path, audit: Audit) -> None:
    change(project, "pyproject.toml", "dependencies = [\n", 'dependencies = [\n    "marrowfat>=1",\n')
    done = audit("--offline")
    assert done.returncode == WRONG
    assert "requirements.lock lacks marrowfat" in done.stderr
    assert "requirements-test.lock lacks marrowfat" in done.stderr


@pytest.mark.parametrize(
    ("answers", "status", "said"),
    [
        ({"pypi": answer(GOOD)}, IN_ORDER, "Nothing is known to pypi"),
        ({"pypi": answer(GOOD, BAD)}, WRONG, "flask 3.0.0: CVE-0000-0001; mended in 3.0.1."),
        ({"pypi": answer(SKIPPED, BAD)}, WRONG, "flask 3.0.0: CVE-0000-0001"),
        ({}, NOT_ASKED, "NOT AUDITED"),
        ({"pypi": answer(SKIPPED)}, NOT_ASKED, "jinja2"),
        ({"pypi": answer(GOOD, SKIPPED)}, NOT_ASKED, "jinja2"),
        ({"pypi": answer()}, NOT_ASKED, "NOT AUDITED"),
        ({"osv": answer(GOOD)}, IN_ORDER, "Nothing is known to osv"),
        ({"pypi": answer(SKIPPED), "osv": answer(GOOD)}, IN_ORDER, "Nothing is known to osv"),
        ({"pypi": answer(SKIPPED), "osv": answer(BAD)}, WRONG, "flask 3.0.0"),
    ],
    ids=[
        "nothing-known",
        "something-known",
        "something-known-and-some-not-asked",
        "no-service",
        "none-asked",
        "some-not-asked",
        "an-empty-answer",
        "the-second-service",
        "the-second-service-for-the-rest",
        "known-to-the-second-service",
    ],
)
def test_only_an_answer_about_every_package_is_good_news(
    tmp_path: Path, audit: Audit, answers: dict[str, object], status: int, said: str
) -> None:
    done = audit("--with", answering(tmp_path, answers))
    assert (done.returncode, said in done.stdout + done.stderr) == (status, True), done


def test_a_program_that_is_not_there_has_asked_nobody(tmp_path: Path, audit: Audit) -> None:
    assert audit("--with", tmp_path / "none").returncode == NOT_ASKED


def test_the_whole_check_asks_about_the_locked_versions_and_goes_on_only_where_nobody_could_be_asked() -> None:
    lines = (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if line.startswith(".ci/audit")] == ['.ci/audit || [ "$?" -eq 3 ]']
