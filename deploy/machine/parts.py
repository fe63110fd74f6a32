"""A part is one program that runs for as long as Rising Main does: started, watched, started again, stopped."""

import contextlib
import ctypes
import os
import signal
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

from deploy.machine import say

LOG_LIMIT_BYTES = 10 * 1024 * 1024
LASTED_S = 60  # a part that ran this long before it ended starts anew with no grudge
LONGEST_WAIT_S = 30
PR_SET_PDEATHSIG = 1
_libc = ctypes.CDLL(None) if sys.platform.startswith("linux") else None


def die_with_parent(parent, sig):
    """In a new child: ask the kernel for a signal when the parent is gone, however it went. Linux only.

    Elsewhere parts left behind are found by the next start from the state file.
    """
    if _libc is not None:
        _libc.prctl(PR_SET_PDEATHSIG, int(sig), 0, 0, 0)
        if os.getppid() != parent:  # it went before we asked
            os.kill(os.getpid(), sig)


def command_of(pid):
    """Command line of a running process, empty when there is none."""
    try:
        return Path(f"/proc/{pid}/cmdline").read_bytes().replace(b"\0", b" ").decode(errors="replace")
    except OSError:
        if Path("/proc/self").exists():
            return ""
    done = subprocess.run(["ps", "-p", str(pid), "-o", "command="], capture_output=True, text=True, check=False)
    return done.stdout


def mark_of(pid):
    """When a running process started, in the system's own words; empty when there is none. Numbers are used again,
    a number with its moment is not.
    """
    if Path("/proc/self/stat").exists():
        try:
            return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[19]
        except OSError:
            return ""
    done = subprocess.run(["ps", "-p", str(pid), "-o", "lstart="], capture_output=True, text=True, check=False)
    return done.stdout.strip()


@dataclass
class Part:
    """What to run and how to end it. Times are of the monotonic clock."""

    name: str
    command: list
    log: Path
    env: dict
    stop: int = signal.SIGTERM
    stop_within_s: float = 20
    user: int | None = None
    group: int | None = None
    cwd: Path | None = None
    feed: str | None = None  # written to its standard input, once
    process: subprocess.Popen | None = None
    started: float = 0
    failures: int = 0
    again_at: float = 0
    restarts: int = field(default=0)

    def start(self):
        """Start it; call from the main thread only, since the kernel ties a parent's death to the thread."""
        parent, sig = os.getpid(), self.stop
        with self.log.open("ab") as log:
            log.write(f"\n--- {time.strftime('%Y-%m-%d %H:%M:%S')} {self.name} starts\n".encode())
            log.flush()
            self.process = subprocess.Popen(
                self.command,
                stdin=subprocess.PIPE if self.feed else subprocess.DEVNULL,
                stdout=log,
                stderr=subprocess.STDOUT,
                env=self.env,
                cwd=self.cwd,
                start_new_session=True,  # Ctrl-C is ours to hand on, in order
                user=self.user,
                group=self.group,
                extra_groups=[] if self.user is not None else None,
                preexec_fn=lambda: die_with_parent(parent, sig),  # noqa: PLW1509
            )
        if self.feed:
            self.process.stdin.write(self.feed.encode())
            self.process.stdin.close()
        self.started = time.monotonic()

    @property
    def runs(self):
        return self.process is not None and self.process.poll() is None

    @property
    def pid(self):
        return self.process.pid if self.process else None

    def book_restart(self, now):
        """It ended by itself: when may it start again? Doubling waits while it keeps failing."""
        self.failures = 1 if now - self.started > LASTED_S else self.failures + 1
        self.again_at = now + min(0.25 * 2**self.failures, LONGEST_WAIT_S)
        return self.again_at - now

    def ask_to_stop(self):
        if self.runs:
            self.process.send_signal(self.stop)

    def end(self):
        """Wait for it to stop in its own time, then make it. Returns whether it needed making."""
        if self.process is None:
            return False
        try:
            self.process.wait(self.stop_within_s)
            forced = False
        except subprocess.TimeoutExpired:
            forced = True
        # Also its children, should it have left some.
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()
        return forced

    def last_lines(self, count=12):
        try:
            with self.log.open("rb") as log:
                log.seek(max(0, self.log.stat().st_size - 8000))
                return log.read().decode(errors="replace").splitlines()[-count:]
        except OSError:
            return []

    def trim_log(self):
        """Keep the log and one older piece. The part goes on appending to the same file."""
        with contextlib.suppress(OSError):
            if self.log.stat().st_size > LOG_LIMIT_BYTES:
                older = self.log.with_name(self.log.name + ".1")
                older.write_bytes(self.log.read_bytes())
                older.chmod(0o600)
                os.truncate(self.log, 0)


def wait_until(ready, part, within_s, what):
    """Wait until `ready()` is true while the part runs; else the trouble with the part's last words."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        if not part.runs:
            break
        if ready():
            return
        time.sleep(0.05)
    state = "ended" if not part.runs else f"did not answer within {within_s:.0f} s"
    raise say.Trouble(
        f"{what} {state}. Its last words, from {part.log}:\n  " + "\n  ".join(part.last_lines() or ["(none)"])
    )
