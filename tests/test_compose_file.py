"""The compose file is whole and careful: every queue has its worker, nothing runs as root or writes where it need not,
and it names only what is there: settings, commands, files, queues."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from replacements import settings
from worker import alive

ROOT = Path(__file__).parents[1]
QUEUES = {"intake", "reading", "replies", "nightly"}
OURS = {"web", "schedule", *QUEUES}
OTHERS = {"redis", "postgres"}


def compose() -> dict[str, Any]:
    loaded: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text(encoding="utf-8"))
    return loaded


def services() -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = compose()["services"]
    return found


def after(command: list[str], option: str) -> str:
    return command[command.index(option) + 1]


def test_every_service_of_the_house_is_there() -> None:
    assert set(services()) == OURS | OTHERS


def test_every_queue_that_work_is_put_into_has_a_worker_of_its_own() -> None:
    source = (ROOT / "worker" / "app.py").read_text(encoding="utf-8")
    routed = re.search(r"^QUEUES = (\{.*?\})$", source, re.MULTILINE | re.DOTALL)
    default = re.search(r'task_default_queue="(\w+)"', source)
    assert routed is not None
    assert default is not None
    put_into = set(re.findall(r': "(\w+)"', routed[1])) | {default[1]}
    taken_from = {
        after(one["command"], "-Q"): name for name, one in services().items() if "-Q" in one.get("command", ())
    }
    assert set(taken_from) == put_into == QUEUES
    assert all(queue == name for queue, name in taken_from.items())


def test_workers_of_one_machine_have_names_of_their_own() -> None:
    names = [after(services()[name]["command"], "-n") for name in QUEUES]
    assert len(set(names)) == len(names)


def test_one_schedule_and_no_worker_keeps_the_time() -> None:
    beating = [
        name for name, one in services().items() if "beat" in one.get("command", ()) or "-B" in one.get("command", ())
    ]
    assert beating == ["schedule"]


def test_a_closing_has_a_process_left_while_the_nights_work_takes_hours() -> None:
    assert int(after(services()["nightly"]["command"], "-c")) >= 3  # a backup, a removal, and whatever else is due


def test_the_pages_are_served_by_the_projects_own_server_without_the_jobs() -> None:
    assert 'CMD ["replacements", "serve",' in services()["web"]["build"]["dockerfile_inline"]
    assert "--pages-only" in services()["web"]["build"]["dockerfile_inline"]
    assert "command" not in services()["web"]


@pytest.mark.parametrize("name", sorted(OURS | OTHERS))
def test_nothing_runs_as_root_or_writes_where_it_need_not(name: str) -> None:
    service = services()[name]
    assert service["user"] not in ("", "root", "0")
    assert service["read_only"] is True
    assert service["cap_drop"] == ["ALL"]
    assert service["security_opt"] == ["no-new-privileges:true"]
    assert service["tmpfs"]
    assert "privileged" not in service


@pytest.mark.parametrize("name", sorted(OURS | OTHERS))
def test_everything_is_asked_whether_it_is_well_and_started_again(name: str) -> None:
    assert services()[name]["restart"] == "unless-stopped"
    assert services()[name]["healthcheck"]["test"][0] in ("CMD", "CMD-SHELL")
    assert services()[name]["logging"]["options"]["max-size"]


def test_workers_wait_for_the_pages_which_bring_the_database_up_to_date() -> None:
    for name in OURS - {"web"}:
        waits = services()[name]["depends_on"]
        assert {waited: how["condition"] for waited, how in waits.items()} == dict.fromkeys(
            ("postgres", "redis", "web"), "service_healthy"
        )


def test_the_database_and_redis_are_reached_from_inside_alone() -> None:
    assert compose()["networks"]["inside"] == {"internal": True}
    assert all(services()[name]["networks"] == ["inside"] for name in (*OTHERS, "reading", "nightly", "schedule"))
    assert [name for name, one in services().items() if "ports" in one] == ["web"]
    assert all(port.startswith("127.0.0.1:") for port in services()["web"]["ports"])


def test_whoever_speaks_to_mail_servers_can_reach_them() -> None:
    assert all("outside" in services()[name]["networks"] for name in ("intake", "replies"))


def test_a_backup_is_made_each_night_into_a_volume_of_its_own() -> None:
    assert "backups:/backups" in services()["nightly"]["volumes"]
    assert services()["nightly"]["environment"]["REPLACEMENTS_BACKUPS"] == "/backups"
    assert not any("backups:/backups" in services()[name]["volumes"] for name in OURS - {"nightly"})


def test_every_setting_is_one_that_the_service_knows() -> None:
    for name in services()["web"]["environment"]:
        assert name.removesuffix("_FILE") in settings.__doc__ or name in (settings.__doc__ or "")


def test_the_sample_of_the_environment_names_what_the_compose_file_asks_for_and_no_more() -> None:
    asked = set(re.findall(r"\$\{(\w+)", (ROOT / "docker-compose.yml").read_text(encoding="utf-8")))
    sample = (ROOT / "worker" / "sample.env").read_text(encoding="utf-8")
    named = {line.partition("=")[0] for line in sample.splitlines() if line and not line.startswith("#")}
    assert named == asked


def test_secrets_are_files_and_never_values() -> None:
    text = (ROOT / "docker-compose.yml").read_text(encoding="utf-8")
    assert "PASSWORD:" not in text.replace("_FILE:", "")
    assert all(set(secret) == {"file"} for secret in compose()["secrets"].values())


def test_every_secret_is_used_and_every_one_that_is_used_is_there() -> None:
    used = {secret for one in services().values() for secret in one.get("secrets", ())}
    assert used == set(compose()["secrets"])
    for one in services().values():
        files = [str(value) for value in one.get("environment", {}).values() if str(value).startswith("/run/secrets/")]
        assert {Path(file).name for file in files} == set(one.get("secrets", ()))


def test_every_volume_and_network_that_is_used_is_there() -> None:
    mounted = {place.partition(":")[0] for one in services().values() for place in one.get("volumes", ())}
    assert mounted == set(compose()["volumes"])
    assert {name for one in services().values() for name in one["networks"]} == set(compose()["networks"])


def test_the_image_copies_files_that_exist_and_installs_by_hash() -> None:
    build = services()["web"]["build"]["dockerfile_inline"]
    copied = [word for line in build.splitlines() if line.startswith("COPY") for word in line.split()[1:-1]]
    assert all((ROOT / name).exists() for name in copied)
    assert "--require-hashes" in build
    assert build.index("USER office") > build.index("RUN pip install --no-cache-dir --no-deps .")


def test_the_locks_name_exact_versions_with_hashes_and_no_host() -> None:
    for name in ("requirements.lock", "requirements-sign-in.lock", "requirements-test.lock"):
        text = (ROOT / name).read_text(encoding="utf-8")
        pins = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
        assert pins
        assert all("==" in pin for pin in pins)
        assert text.count("--hash=sha256:") >= len(pins)
        assert "://" not in text


def test_the_schedule_is_asked_by_the_file_that_it_is_told_to_write() -> None:
    command = services()["schedule"]["command"]
    assert Path(after(command, "--schedule")).name == alive.SCHEDULE.name
    assert services()["schedule"]["healthcheck"]["test"][-1] == "schedule"
    assert {services()[name]["healthcheck"]["test"][-1] for name in QUEUES} == {"worker"}
