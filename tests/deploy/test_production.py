"""The containers' own commands with the settings of production, on PostgreSQL and RabbitMQ of the machine's own."""

import json
import os
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import psycopg
import pytest

from deploy.machine import places
from deploy.machine.postgres import free_port
from tests.deploy.test_container import COMPOSE, _commands
from tests.faults.places import until
from tests.faults.servers import RabbitMQ, a_database, postgresql

pytestmark = pytest.mark.slow
COMMANDS = dict(_commands())
HOST = "pumps.example.org"


class House:
    """Web server, worker and timetable as compose would start them."""

    def __init__(self, folder, url, rabbit):
        self.folder, self.port, self.parts = folder, free_port(), {}
        kept = {k: os.environ[k] for k in ("HOME", "LANG", "TMPDIR") if k in os.environ}
        self.env = kept | {
            "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
            "PYTHONPATH": str(places.ROOT), "PYTHONUNBUFFERED": "1", "DJANGO_SETTINGS_MODULE": "deploy.settings",
            "RISING_MAIN_BUILD": str(places.BUILD), "RISING_MAIN_DATA": str(folder),
            "NUMBA_CACHE_DIR": os.environ.get("NUMBA_CACHE_DIR", str(places.BUILD / "numba")),
            "SECRET_KEY": "fifty-random-characters-that-nobody-else-knows-0123", "DATABASE_URL": url,
            "BROKER_URL": rabbit.url, "TASK_QUEUE": rabbit.queue, "ALLOWED_HOSTS": HOST,
            "TRUSTED_ORIGINS": f"https://{HOST}", "SITE_ADDRESS": f"https://{HOST}", "HTTPS": "yes",
        }  # fmt: skip

    def run(self, *command):
        done = subprocess.run(
            command, env=self.env, cwd=places.ROOT, capture_output=True, text=True, check=False, timeout=240
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout + done.stderr

    def start(self, name, command):
        with (self.folder / f"{name}.log").open("wb") as log:
            self.parts[name] = subprocess.Popen(
                command, env=self.env, cwd=places.ROOT, stdout=log, stderr=subprocess.STDOUT, start_new_session=True
            )

    def said(self, name):
        return (self.folder / f"{name}.log").read_text(errors="replace")

    def ask(self, path, host=HOST, proto="https"):
        request = urllib.request.Request(
            f"http://127.0.0.1:{self.port}{path}", headers={"Host": host, "X-Forwarded-Proto": proto}
        )
        try:
            return urllib.request.urlopen(request, timeout=30)  # noqa: S310 - our own server
        except urllib.error.HTTPError as answer:
            return answer

    def healthy(self):
        try:
            with self.ask("/health/", host=f"127.0.0.1:{self.port}", proto="http") as answer:
                return json.load(answer) == {"database": "ok"}
        except (OSError, ValueError):
            return False

    def stop(self):
        for part in self.parts.values():
            if part.poll() is None:
                os.killpg(part.pid, signal.SIGKILL)
                part.wait()


@pytest.fixture(scope="module")
def house(tmp_path_factory):
    server, rabbit = postgresql(), RabbitMQ().ready()
    with a_database(server) as url:
        made = House(tmp_path_factory.mktemp("production"), url, rabbit)
        try:
            made.run(sys.executable, "-c", "from deploy.machine import products; products.ready()")
            made.run(*COMPOSE["services"]["tables"]["command"])
            made.run("python", "manage.py", "make_organisation", "Dry Hills Water", "--administrator", "amara")
            web = [word.replace("0.0.0.0:8000", f"127.0.0.1:{made.port}") for word in COMMANDS["Dockerfile"]]  # noqa: S104
            made.start("web", web)
            made.start("worker", [w if w != "WARNING" else "INFO" for w in COMMANDS["worker"]])
            beat = [w.replace("/tmp/timetable", str(made.folder / "timetable")) for w in COMMANDS["timetable"]]  # noqa: S108
            made.start("timetable", [w if w != "WARNING" else "INFO" for w in beat])
            until(made.healthy, 120, "the web server is healthy")
            until(lambda: "ready." in made.said("worker"), 120, "the worker is ready")
            yield made
            # At the end, whatever the order of the tests: each part ends when it is asked to.
            for name, part in made.parts.items():
                part.send_signal(signal.SIGTERM)
                assert part.wait(60) in {0, -signal.SIGTERM}, made.said(name)
        finally:
            made.stop()
            rabbit.gone()


def test_pages_answer_to_their_name_only_and_cookies_go_by_https_only(house):
    with house.ask("/people/log-in/") as answer:
        page = answer.read().decode()
        assert answer.status == 200 and 'type="password"' in page and "demo" not in page.lower()
        assert "max-age=" in answer.headers["Strict-Transport-Security"]
        assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
        assert all("Secure" in cookie for cookie in answer.headers.get_all("Set-Cookie"))
    with house.ask("/people/log-in/", host="other.example.org") as answer:
        assert answer.status == 400


def test_files_of_the_look_are_served_with_hashed_names_and_long_lives(house):
    import re

    with house.ask("/people/log-in/") as answer:
        sheet = re.search(r'href="(/static/[^"]+\.[0-9a-f]{12}\.css)"', answer.read().decode())[1]
    with house.ask(sheet) as answer:
        assert answer.status == 200 and "immutable" in answer.headers["Cache-Control"]


def test_djangos_own_look_at_the_settings_finds_nothing_but_what_the_proxy_does(house):
    said = house.run("python", "manage.py", "check", "--deploy")
    found = {word for word in said.replace(")", " ").replace("(", " ").split() if word.startswith("security.W")}
    # W008: the proxy sends plain requests on to https. W005, W021: whether all names below are ours only you know.
    assert found <= {"security.W008", "security.W005", "security.W021"}, said


def test_the_timetable_wakes_the_worker_through_rabbitmq(house):
    until(lambda: "jobs.sweep" in house.said("worker") and "succeeded in" in house.said("worker"), 150, "a sweep")
    for name in ("web", "worker", "timetable"):
        assert house.parts[name].poll() is None, house.said(name)


def test_the_migrated_tables_hold_what_was_made(house):
    with psycopg.connect(house.env["DATABASE_URL"]) as line:
        assert line.execute("SELECT name FROM people_organisation").fetchall() == [("Dry Hills Water",)]
