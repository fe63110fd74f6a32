"""The container and compose files, as far as they can be tried without containers: what they name is there."""

import re
import shlex
import shutil
import sys
from pathlib import Path

import pytest
import yaml

import deploy.settings  # noqa: F401 - so that every setting has been read
from deploy import env

ROOT = Path(__file__).resolve().parent.parent.parent
FOLDER = ROOT / "deploy" / "container"
COMPOSE = yaml.safe_load((FOLDER / "compose.yaml").read_text())
RECIPE = (FOLDER / "Dockerfile").read_text().replace("\\\n", " ")
OF_OTHERS = {"DJANGO_SETTINGS_MODULE", "PATH", "PYTHONPATH", "PYTHONUNBUFFERED", "NUMBA_CACHE_DIR"}
OURS = [name for name, service in COMPOSE["services"].items() if service.get("image") == "rising-main"]


def test_the_services_are_those_that_deploy_start_runs_and_the_tables():
    assert sorted(COMPOSE["services"]) == ["broker", "database", "tables", "timetable", "web", "worker"]
    assert sorted(OURS) == ["tables", "timetable", "web", "worker"]


@pytest.mark.parametrize("service", OURS)
def test_each_setting_in_the_compose_file_is_one_that_is_read(service):
    assert set(COMPOSE["services"][service]["environment"]) <= env.READ


def test_each_setting_in_the_container_file_is_one_that_is_read():
    named = {name for line in re.findall(r"^ENV (.+)$", RECIPE, re.MULTILINE) for name in re.findall(r"(\w+)=", line)}
    assert named and named - OF_OTHERS <= env.READ


def test_what_must_be_set_is_asked_for_and_explained():
    """Compose stops with our sentence where a value is missing; the comment at the top names each."""
    text = (FOLDER / "compose.yaml").read_text()
    asked = set(re.findall(r"\$\{(\w+):\?", text))
    assert asked == {"SECRET_KEY", "DATABASE_PASSWORD", "ALLOWED_HOSTS", "TRUSTED_ORIGINS", "SITE_ADDRESS"}
    head = text[: text.index("x-house")]
    assert all(f"{name}=" in head for name in asked)
    assert set(re.findall(r"\$\{(\w+)", text)) - asked <= env.READ


def test_the_values_given_for_a_first_start_are_accepted(monkeypatch):
    import runpy

    given = {"ALLOWED_HOSTS": "pumps.example.org", "TRUSTED_ORIGINS": "https://pumps.example.org",
             "SITE_ADDRESS": "https://pumps.example.org", "SECRET_KEY": "x" * 50}  # fmt: skip
    for name, value in COMPOSE["services"]["web"]["environment"].items():
        filled = re.sub(r"\$\{(\w+)(?::[?-][^}]*)?\}", lambda found: given.get(found[1], "word"), str(value))
        monkeypatch.setenv(name, "" if filled == "word" else filled)
    read = runpy.run_path(deploy.settings.__file__)
    assert read["SESSION_COOKIE_SECURE"] and read["CACHES"]["default"]["LOCATION"].endswith("/1")
    assert read["CELERY_BROKER_URL"] == "redis://broker:6379/0"
    assert not read["DEBUG"] and not read["DEMO"]


def test_whom_a_service_waits_for_is_there_and_can_be_waited_for():
    services = COMPOSE["services"]
    for name, service in services.items():
        for other, how in service.get("depends_on", {}).items():
            assert other in services, name
            if how["condition"] == "service_healthy":
                assert "healthcheck" in services[other], f"{name} waits for {other}, which is never called healthy"
            if how["condition"] == "service_completed_successfully":
                assert services[other]["restart"] == "no"
    volumes = {v.split(":")[0] for service in services.values() for v in service.get("volumes", [])}
    assert volumes == set(COMPOSE["volumes"])


def test_each_path_that_is_copied_is_there_and_not_left_out():
    left_out = [line.strip() for line in (ROOT / ".dockerignore").read_text().splitlines() if line.strip()]
    for words in re.findall(r"^COPY (.+)$", RECIPE, re.MULTILINE):
        *sources, _target = [word for word in shlex.split(words) if not word.startswith("--")]
        if "--from=made" in words:
            assert all(source in {"/venv", "/app"} for source in sources)
            continue
        for source in sources:
            assert (ROOT / source).exists(), source
            assert source.rstrip("/") not in left_out


def _commands():
    yield "Dockerfile", re.findall(r'"([^"]+)"', re.search(r"^CMD (\[.+\])", RECIPE, re.MULTILINE)[1])
    for name in OURS:
        if "command" in COMPOSE["services"][name]:
            yield name, COMPOSE["services"][name]["command"]


@pytest.mark.parametrize(("where", "command"), list(_commands()), ids=str)
def test_each_command_is_one_that_the_packages_bring(where, command):
    program = command[0]
    beside = Path(sys.executable).with_name(program)
    assert beside.exists() or shutil.which(program), program
    if program == "python":
        assert (ROOT / command[1]).exists()
    if program == "celery":
        assert command[1:3] == ["-A", "deploy.celery"] and command[3] in {"worker", "beat"}


def test_the_health_address_is_asked_by_the_compose_file():
    assert "/health/" in " ".join(COMPOSE["services"]["web"]["healthcheck"]["test"])
