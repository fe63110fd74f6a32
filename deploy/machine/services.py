"""The environment in which the application runs on this machine, and the servers that it needs.

DATABASE_URL and BROKER_URL name servers of the user's own; without them, ours are brought up.
"""

import os
import signal
import subprocess
import sys

from deploy.machine import places, postgres, say
from deploy.machine.broker import Broker
from deploy.machine.parts import die_with_parent
from deploy.machine.postgres import Postgres


def environment_of(folder, database_url, broker_url=None, **more):
    """What every part and command is started with."""
    env = dict(os.environ)
    env.pop("RISING_MAIN_CLOCK", None)
    env |= {
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
        "PYTHONUNBUFFERED": "1",
        "RISING_MAIN_DATA": str(folder.path),
        "RISING_MAIN_BUILD": str(places.BUILD),
        "DATABASE_URL": database_url,
    }
    if str(places.ROOT) not in env.get("PYTHONPATH", "").split(os.pathsep):
        env["PYTHONPATH"] = str(places.ROOT)
    env["NUMBA_CACHE_DIR"] = env.get("NUMBA_CACHE_DIR") or str(places.BUILD / "numba")
    if broker_url:
        env["BROKER_URL"] = broker_url
    if not env.get("SECRET_KEY"):
        folder.secret("secret_key", 48)  # read from there by the settings
    return env | more


class Servers:
    """Database and broker: named by the user, or ours. `parts` are those that are ours, in the order of starting."""

    def __init__(self, folder, with_broker=True, with_fsync=True):
        self.folder, self.with_broker, self.with_fsync = folder, with_broker, with_fsync
        self.parts = []
        self.broker_url = os.environ.get("BROKER_URL") or None
        self.database_url = os.environ.get("DATABASE_URL") or None

    def start(self, quiet=False):
        tell = (lambda text: None) if quiet else say.step
        if self.database_url:
            postgres.answers(self.database_url)
        else:
            tell("Starting the database")
            ours = Postgres(self.folder, self.with_fsync)
            try:
                ours.start()
            finally:
                if ours.part:
                    self.parts.append(ours.part)
            self.database_url = ours.url
        if self.with_broker and not self.broker_url:
            tell("Starting the broker")
            broker = Broker(self.folder)
            try:
                broker.start()
            finally:
                if broker.part:
                    self.parts.append(broker.part)
            self.broker_url = broker.url
        return self

    def stop(self):
        for part in reversed(self.parts):
            part.ask_to_stop()
            part.end()
        self.parts = []


class Stopped(Exception):
    """The person asked for the stop while a command ran; the command was ended."""


def run_to_end(command, env, stopping=lambda: False, output=None):
    """Run a program to its end, or until `stopping()`. Its output is shown, or goes to the file `output`."""
    parent = os.getpid()
    process = subprocess.Popen(
        command, env=env, cwd=places.ROOT, stdin=subprocess.DEVNULL, stdout=output, stderr=output and subprocess.STDOUT,
        start_new_session=True, preexec_fn=lambda: die_with_parent(parent, signal.SIGTERM),
    )  # fmt: skip
    while True:
        try:
            return process.wait(0.2)
        except subprocess.TimeoutExpired:
            if stopping():
                process.terminate()
                try:
                    process.wait(15)
                except subprocess.TimeoutExpired:
                    process.kill()
                    process.wait()
                raise Stopped from None


def manage_command(*command):
    return [sys.executable, "-W", "ignore", str(places.ROOT / "manage.py"), *command]


def migrate(env, folder, stopping=lambda: False, quiet=False):
    if not quiet:
        say.step("Bringing the tables up to date")
    path = folder.log("migrate")
    with path.open("wb") as log:
        code = run_to_end(manage_command("migrate", "--noinput"), env, stopping, log)
    if code:
        last = path.read_text(errors="replace").strip().rsplit("\n", 1)[-1]
        if last.startswith("Setting "):
            raise say.Trouble(last)
        raise say.Trouble(
            "The tables could not be brought up to date; the database is as it was before the step that failed. "
            f"From {path}:\n" + path.read_text(errors="replace").strip()[-2500:]
        )
