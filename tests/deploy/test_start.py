"""deploy/start as a person meets it: up, used, killed in parts, killed whole, stopped, started again."""

import json
import os
import pwd
import re
import signal
import socket
import stat
import subprocess
import sys
import sysconfig
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

import psycopg
import pytest

from deploy.machine import parts, places, products
from deploy.machine.postgres import free_port

pytestmark = pytest.mark.slow
NOT_OURS = ("DATABASE_URL", "BROKER_URL", "SECRET_KEY", "RISING_MAIN_DATA", "TASKS_AT_ONCE", "RISING_MAIN_CLOCK")


def _env():
    """What a person's terminal holds: none of what the tests are run with."""
    kept = {k: v for k, v in os.environ.items() if k not in NOT_OURS and not k.startswith(("PYTEST", "COV_"))}
    return kept | {"PYTHONPATH": str(places.ROOT), "RISING_MAIN_BUILD": str(places.BUILD)}


def _script(work, *arguments, python=sys.executable):
    return [python, "-m", f"deploy.machine.{work}", *map(str, arguments)]


class House:
    """Rising Main on a data folder."""

    def __init__(self, data, user=None, env=None, python=sys.executable):
        self.data, self.user, self.env, self.python = Path(data), user, (env or {}), python
        self.port = free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self.process = None
        self.said = self.data.parent / f"{self.data.name}-said.txt"

    def start(self):
        with self.said.open("w") as said:
            self.process = subprocess.Popen(
                _script("start", "--port", self.port, "--data", self.data, "--no-demo", python=self.python),
                stdout=said, stderr=subprocess.STDOUT, env=_env() | self.env, user=self.user, cwd="/",
            )  # fmt: skip
        self.until(lambda: "is ready: " + self.address in self.said.read_text(), 150)
        return self

    def until(self, so, within_s=60):
        end = time.monotonic() + within_s
        while time.monotonic() < end and self.process.poll() is None:
            if so():
                return
            time.sleep(0.1)
        if not so():
            logs = "\n".join(f"{p.name}: {p.read_text()[-500:]}" for p in (self.data / "logs").glob("*.log"))
            pytest.fail(f"not so within {within_s} s; said:\n{self.said.read_text()}\n{logs}", pytrace=False)

    @property
    def state(self):
        return places.DataFolder(self.data).state

    def pid(self, part):
        return self.state["parts"][part]["pid"]

    def healthy(self):
        try:
            with urllib.request.urlopen(self.address + "/health/", timeout=5) as answer:  # noqa: S310
                return json.load(answer) == {"database": "ok"}
        except (OSError, urllib.error.URLError, ValueError):
            return False

    def query(self, sql):
        with psycopg.connect(self.state["env"]["DATABASE_URL"], autocommit=True) as connection:
            found = connection.execute(sql)
            return found.fetchall() if found.description else None

    def stop(self, how=signal.SIGTERM):
        if self.process and self.process.poll() is None:
            self.process.send_signal(how)
            self.process.wait(90)
        return self.process.returncode


def _run(work, *arguments, timeout=120):
    return subprocess.run(
        _script(work, *arguments), env=_env(), capture_output=True, text=True, timeout=timeout, check=False, cwd="/"
    )


@pytest.fixture
def running(one_house):
    """Up and well, whatever the test before did to it."""
    if one_house.process.poll() is not None:
        one_house.start()
    one_house.until(one_house.healthy)
    return one_house


@pytest.fixture(scope="module")
def one_house():
    # Spaces and letters beyond ASCII in the path: whatever is started here has to bear them.
    with tempfile.TemporaryDirectory(prefix="rising-main-start of Añó ", ignore_cleanup_errors=True) as folder:
        Path(folder).chmod(0o755)
        house = House(Path(folder) / "data")
        products.ready(compiled=True)  # may take minutes on a slow machine; the starts below are timed
        try:
            yield house.start()
        finally:
            house.stop()


def test_it_says_where_it_is_and_the_pages_ask_for_a_log_in(running):
    said = running.said.read_text()
    assert f"Rising Main is ready: {running.address}" in said
    assert "Ctrl-C stops it." in said
    # A process of a web server killed just before may still take a call and drop it.
    running.until(running.healthy)
    with urllib.request.urlopen(running.address + "/people/log-in/", timeout=20) as answer:  # noqa: S310
        page = answer.read().decode()
    assert 'type="password"' in page


def test_what_is_secret_only_its_owner_reads(running):
    for name in ("secret_key", "database_password", "broker_password", "state.json"):
        assert stat.S_IMODE((running.data / name).stat().st_mode) == 0o600, name
    assert stat.S_IMODE((running.data / "logs").stat().st_mode) == 0o700
    commands = [parts.command_of(about["pid"]) for about in running.state["parts"].values()]
    for name in ("database_password", "broker_password", "secret_key"):
        secret = (running.data / name).read_text().strip()
        assert not any(secret in command for command in commands), f"{name} stands in the list of processes"


def test_a_second_start_on_the_same_folder_says_so_and_harms_nothing(running):
    second = _run("start", "--port", free_port(), "--data", running.data)
    assert second.returncode == 1
    assert f"already runs on {running.data} at {running.address}" in second.stderr
    running.until(running.healthy)


def test_a_port_in_use_is_a_sentence(running, tmp_path):
    second = _run("start", "--port", running.port, "--data", tmp_path)
    assert second.returncode == 1
    assert re.search(rf"Port {running.port} on 127\.0\.0\.1 cannot be used .* choose another port", second.stderr)


@pytest.mark.parametrize("part", ["web server", "worker", "timetable", "broker", "database"])
def test_a_part_that_is_killed_comes_back(running, part):
    running.until(lambda: parts.mark_of(running.pid(part)))
    before = running.pid(part)
    os.kill(before, signal.SIGKILL)
    running.until(lambda: running.pid(part) != before and parts.mark_of(running.pid(part)))
    running.until(running.healthy)


def test_what_was_written_before_the_database_was_killed_is_there_after(running):
    running.query("CREATE TABLE IF NOT EXISTS noted (line text)")
    running.query("INSERT INTO noted VALUES ('before the kill')")
    before = running.pid("database")
    os.kill(before, signal.SIGKILL)
    running.until(lambda: running.pid("database") != before)
    running.until(running.healthy)
    assert ("before the kill",) in running.query("SELECT line FROM noted")


def test_a_command_uses_the_servers_that_run(running):
    before = running.pid("database")
    done = _run("command", "--data", running.data, "showmigrations", "people")
    assert done.returncode == 0, done.stderr
    assert "[X] 0001_initial" in done.stdout
    assert running.pid("database") == before


def test_a_commands_failure_is_passed_on(running):
    done = _run("command", "--data", running.data, "no_such_command")
    assert done.returncode == 1
    assert "Unknown command: 'no_such_command'" in done.stderr


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks at processes the way Linux shows them")
def test_killed_whole_it_leaves_nothing_behind_and_starts_again_with_what_it_had(running):
    running.query("CREATE TABLE IF NOT EXISTS noted (line text)")
    running.query("INSERT INTO noted VALUES ('before the end')")
    marks = {about["pid"]: about["mark"] for about in running.state["parts"].values()}
    running.stop(signal.SIGKILL)
    end = time.monotonic() + 40
    while time.monotonic() < end and any(parts.mark_of(pid) == mark for pid, mark in marks.items()):
        time.sleep(0.1)
    assert [pid for pid, mark in marks.items() if parts.mark_of(pid) == mark] == []
    running.start()
    assert ("before the end",) in running.query("SELECT line FROM noted")


def test_it_stops_cleanly_and_a_command_then_brings_its_own_database(running):
    """Ctrl-C, then a command with nothing running, then up again: the same data throughout."""
    running.query("CREATE TABLE IF NOT EXISTS noted (line text)")
    running.query("INSERT INTO noted VALUES ('before the stop')")
    marks = {about["pid"]: about["mark"] for about in running.state["parts"].values()}
    assert running.stop(signal.SIGINT) == 0
    assert "Stopped. What was entered is kept in" in running.said.read_text()
    assert [pid for pid, mark in marks.items() if parts.mark_of(pid) == mark] == []
    log = (running.data / "logs" / "database.log").read_text()
    assert "database system is shut down" in log.rsplit("database starts", 1)[1]
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", running.port)) != 0

    ask = "from django.db import connection as c; u = c.cursor(); print(u.execute('TABLE noted').fetchall())"
    done = _run("command", "--data", running.data, "shell", "--no-imports", "-c", ask)
    assert done.returncode == 0, done.stderr
    assert "before the stop" in done.stdout
    assert running.state == {}

    running.start()
    assert ("before the stop",) in running.query("SELECT line FROM noted")


def _python_of(person):
    """A Python of this version that this person can run, and the path on which it finds us and the packages.

    Root's own Python often lies in root's home; the system's then does, with the same packages.
    """
    path = os.pathsep.join([str(places.ROOT), sysconfig.get_path("purelib")])
    look = f"import sys, deploy, psycopg, numpy, redis; sys.exit(sys.version_info[:2] != {tuple(sys.version_info[:2])})"
    for python in (sys.executable, "/usr/bin/python3", "/usr/local/bin/python3"):
        try:
            found = subprocess.run(
                [python, "-c", look], user=person.pw_uid, cwd="/", env=_env() | {"PYTHONPATH": path}, check=False,
                capture_output=True,
            )  # fmt: skip
        except OSError:
            continue
        if found.returncode == 0:
            return python, path
    return None, path


@pytest.mark.skipif(os.geteuid() != 0, reason="the other tests of this file ran as a plain user already")
def test_a_plain_user_can_do_the_same():
    nobody = pwd.getpwnam("nobody")
    python, path = _python_of(nobody)
    if python is None:
        pytest.skip(f"the user nobody can run no Python with this checkout ({places.ROOT}) and its packages")
    with tempfile.TemporaryDirectory(prefix="rising-main-plain-", ignore_cleanup_errors=True) as folder:
        os.chown(folder, nobody.pw_uid, nobody.pw_gid)
        house = House(
            Path(folder) / "data",
            user=nobody.pw_uid,
            env={"HOME": folder, "NUMBA_CACHE_DIR": f"{folder}/numba", "PYTHONPATH": path},
            python=python,
        )
        try:
            house.start()
            assert house.healthy()
            owners = {Path(f"/proc/{about['pid']}").stat().st_uid for about in house.state["parts"].values()}
            assert owners == {nobody.pw_uid}
        finally:
            assert house.stop() == 0
