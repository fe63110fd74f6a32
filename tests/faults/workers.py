"""Real workers on the tests' own database, and a broker that can be taken away."""

import os
import signal
import subprocess
import sys
import uuid
from contextlib import contextmanager, suppress

import redis
from celery import current_app
from django.db import connection

from deploy.machine import places
from deploy.machine.broker import Broker
from deploy.machine.parts import wait_until
from fleet.jobs import waking
from tests.faults.places import until


def database_url():
    """Address of the database that this test works in."""
    about = connection.settings_dict
    word = f":{about['PASSWORD']}" if about["PASSWORD"] else ""
    return f"postgres://{about['USER']}{word}@{about['HOST']}:{about['PORT'] or 5432}/{about['NAME']}"


class OwnBroker:
    """The broker that deploy/start brings, with a queue of its own."""

    def __init__(self, folder):
        self.data = places.DataFolder(folder)
        self.data.make()
        self.broker = Broker(self.data)
        self.url, self.queue = self.broker.url, "rising_main"

    def start(self):
        part = self.broker.as_part()
        part.start()
        wait_until(self.broker.answers, part, 30, "The broker")

    def kill(self):
        os.kill(self.broker.part.pid, signal.SIGKILL)
        self.broker.part.process.wait()

    def empty(self):
        with suppress(redis.RedisError):
            redis.Redis.from_url(self.url).flushall()

    def stop(self):
        self.broker.part.ask_to_stop()
        self.broker.part.end()


class Worker:
    """`celery worker` as in production, on this database and that broker."""

    def __init__(self, broker, folder, concurrency=1):
        self.broker, self.concurrency = broker, concurrency
        self.log = folder / f"worker-{uuid.uuid4().hex[:6]}.log"
        self.process = None

    def start(self):
        env = dict(os.environ) | {
            "DATABASE_URL": database_url(), "BROKER_URL": self.broker.url, "TASK_QUEUE": self.broker.queue,
            "TASKS_AT_ONCE": "no", "PYTHONPATH": str(places.ROOT),
        }  # fmt: skip
        command = [
            sys.executable, "-m", "celery", "-A", "deploy.celery", "worker", "--loglevel", "INFO", "--without-gossip",
            "--without-mingle", "--concurrency", str(self.concurrency), "--hostname", f"{self.log.stem}@%h",
        ]  # fmt: skip
        with self.log.open("wb") as log:
            self.process = subprocess.Popen(
                command, env=env, cwd=places.ROOT, stdout=log, stderr=subprocess.STDOUT, start_new_session=True
            )
        until(lambda: "ready." in self.said() or self.process.poll() is not None, 90, "the worker is ready")
        assert self.process.poll() is None, self.said()
        return self

    def said(self):
        return self.log.read_text(errors="replace")

    def kill(self):
        """The whole worker at once, as when the machine kills it."""
        os.kill(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def kill_its_hand(self):
        """Only the process that does the task, as when memory runs out."""
        found = subprocess.run(
            ["ps", "-o", "pid=", "--ppid", str(self.process.pid)], capture_output=True, text=True, check=True
        )
        hands = [int(pid) for pid in found.stdout.split()]
        assert hands
        for pid in hands:
            os.kill(pid, signal.SIGKILL)

    def stop(self):
        if self.process and self.process.poll() is None:
            os.killpg(self.process.pid, signal.SIGKILL)
            self.process.wait()


@contextmanager
def calls_through(url, queue="rising_main"):
    """Inside the block, this process wakes workers through the broker at `url`, as a web server does."""
    before = {
        name: getattr(current_app.conf, name)
        for name in ("task_always_eager", "broker_url", "broker_transport_options", "task_default_queue")
    }
    options = {"socket_connect_timeout": 1, "socket_timeout": 10} if url.startswith("redis") else {}
    _say(task_always_eager=False, broker_url=url, broker_transport_options=options, task_default_queue=queue)
    try:
        yield
    finally:
        _say(**before)


def _say(**conf):
    for name, value in conf.items():
        setattr(current_app.conf, name, value)
    forget_lines()


def forget_lines():
    """As a process that has just been started: no line to a broker is open."""
    current_app._after_fork()
    current_app.__dict__.pop("amqp", None)
    waking._line = waking._Line()
