"""No container engine runs the tests, so what can be read off the file is; `tests/slow/test_grown.py` runs its commands."""

import re
from pathlib import Path

import pytest
import yaml

from mill.bench.load import GROWN_WEB

ROOT = Path(__file__).resolve().parent.parent.parent
SOURCE = (ROOT / "docker-compose.yml").read_text()
COMPOSE = yaml.safe_load(SOURCE)
SERVICES = COMPOSE["services"]
DOCKERFILE = (ROOT / "mill" / "Dockerfile").read_text()


def test_the_grown_mill_has_a_database_a_broker_web_a_relay_workers_and_a_clock():
    assert set(SERVICES) == {"postgres", "redis", "setup", "web", "web2", "relay", "worker", "beat"}


def test_the_second_web_server_is_the_first_over_again_at_another_port_and_only_when_it_is_wanted():
    own = {"ports", "profiles"}
    first, second = ({key: said for key, said in SERVICES[name].items() if key not in own} for name in ("web", "web2"))
    assert first == second
    assert SERVICES["web2"]["profiles"] == ["two"]
    assert SERVICES["web2"]["ports"] != SERVICES["web"]["ports"]


@pytest.mark.parametrize("name", sorted(set(SERVICES) - {"setup"}))
def test_whatever_goes_on_running_says_whether_it_is_well(name):
    assert SERVICES[name]["healthcheck"]["test"]
    assert SERVICES[name]["restart"] == "unless-stopped"


def test_nothing_secret_stands_in_the_file():
    for service in SERVICES.values():
        for name, value in service.get("environment", {}).items():
            if re.search("PASSWORD|SECRET|KEY", name):
                assert re.fullmatch(r"\$\{\w+:\?[^}]+\}", value), f"{name} has a value of its own"
    assert "${POSTGRES_PASSWORD:?say it in .env}@postgres" in SERVICES["web"]["environment"]["SHEDBOOK_DATABASE"]


def test_every_setting_it_gives_is_one_that_is_read():
    settings = (ROOT / "mill" / "settings.py").read_text()
    read = {f"SHEDBOOK_{name}" for name in re.findall(r'env(?:_bool|_list)?\(\s*"(\w+)"', settings)}
    given = {name for service in SERVICES.values() for name in service.get("environment", {})}
    assert {name for name in given if name.startswith("SHEDBOOK_")} <= read


def test_every_setting_that_the_readme_tells_of_reaches_the_grown_mill():
    told = set(re.findall(r"`(SHEDBOOK_\w+)`", (ROOT / "README.md").read_text()))
    # Where things are in its containers is its own to say.
    assert told - {"SHEDBOOK_DATA", "SHEDBOOK_BACKUPS"} == set(SERVICES["web"]["environment"])


def test_everybody_signs_in_and_the_database_is_not_open_to_the_network():
    assert SERVICES["web"]["environment"]["SHEDBOOK_OPEN_BOOK"] == "no"
    open_to = {name: [port.split(":")[0] for port in of["ports"]] for name, of in SERVICES.items() if "ports" in of}
    assert open_to == {"web": ["127.0.0.1"], "web2": ["127.0.0.1"]}


def test_nobody_works_before_the_tables_are_there():
    for name in ("web", "relay", "worker", "beat"):
        after = SERVICES[name]["depends_on"]
        assert after["setup"]["condition"] == "service_completed_successfully"
        assert after["postgres"]["condition"] == after["redis"]["condition"] == "service_healthy"
    assert SERVICES["setup"]["depends_on"]["postgres"]["condition"] == "service_healthy"


def test_the_load_is_measured_on_the_web_server_that_the_grown_mill_has():
    program, application, bind, *options = SERVICES["web"]["command"]
    assert (program, application, bind.partition("=")[0]) == ("gunicorn", "mill.wsgi", "--bind")
    assert set(options) == set(GROWN_WEB)


def test_there_are_two_workers_and_one_that_looks_at_the_clock():
    assert SERVICES["worker"]["deploy"]["replicas"] == 2
    assert "deploy" not in SERVICES["beat"], "two would send everything twice"
    schedule = next(word for word in SERVICES["beat"]["command"] if word.startswith("--schedule="))
    (volume,) = SERVICES["beat"]["volumes"]
    assert schedule.removeprefix("--schedule=").startswith(f"{volume.split(':')[1]}/"), "it outlives the container"
    assert "/".join(schedule.removeprefix("--schedule=").split("/")[:-1]) in SERVICES["beat"]["healthcheck"]["test"][1]


def test_what_is_kept_is_kept_in_volumes_that_are_declared():
    used = {volume.split(":")[0] for service in SERVICES.values() for volume in service.get("volumes", [])}
    assert used == set(COMPOSE["volumes"])


def test_the_image_holds_the_program_and_installs_the_hashed_lock_of_the_grown_mill():
    copied = [line.split()[1] for line in DOCKERFILE.splitlines() if line.startswith("COPY")]
    assert copied == ["mill/requirements/grown.txt", "manage.py", "mill", "planning", "inventory", "templates"]
    assert all((ROOT / path).exists() for path in copied)
    assert "--require-hashes --only-binary :all: -r mill/requirements/grown.txt" in DOCKERFILE
    assert "USER shedbook" in DOCKERFILE
    let_in = {line[1:] for line in (ROOT / ".dockerignore").read_text().splitlines() if line.startswith("!")}
    assert let_in == {path.split("/")[0] for path in copied}
