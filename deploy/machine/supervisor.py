"""Keeps the parts running: sees at once when one ends, starts it again, stops all of them in order."""

import contextlib
import select
import signal
import socket
import time

from deploy.machine import say


class Supervisor:
    """`parts` in the order of starting; they are stopped the other way round, those of one rank together."""

    def __init__(self, parts, on_change=None):
        self.parts = list(parts)
        self.on_change = on_change or (lambda: None)
        self.stopping = None

    @contextlib.contextmanager
    def signals(self):
        """SIGINT and SIGTERM ask for the stop; a second Ctrl-C does not break it off half-way."""
        ours, theirs = socket.socketpair()
        ours.setblocking(False)
        theirs.setblocking(False)
        self._wake = theirs
        before = {}
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGCHLD):
            before[number] = signal.signal(number, self._note)
        waker = signal.set_wakeup_fd(ours.fileno(), warn_on_full_buffer=False)
        try:
            yield self
        finally:
            signal.set_wakeup_fd(waker)
            for number, handler in before.items():
                signal.signal(number, handler)
            ours.close()
            theirs.close()

    def _note(self, number, frame):
        if number != signal.SIGCHLD and self.stopping is None:
            self.stopping = signal.Signals(number).name

    def _sleep(self, seconds):
        with contextlib.suppress(InterruptedError):
            if select.select([self._wake], [], [], seconds)[0]:
                with contextlib.suppress(BlockingIOError):
                    self._wake.recv(4096)

    def start(self, part):
        part.start()
        self.parts.append(part)

    def watch(self):
        """Until asked to stop. One look is cheap; a part that ended is seen within the same moment."""
        checked = time.monotonic()
        while self.stopping is None:
            now = time.monotonic()
            wait = 5.0
            for part in self.parts:
                if part.runs:
                    continue
                if not part.again_at:
                    wait = min(wait, part.book_restart(now))
                    self._say_ended(part, part.again_at - now)
                elif now >= part.again_at:
                    part.again_at = 0
                    part.restarts += 1
                    part.start()
                    self.on_change()
                else:
                    wait = min(wait, part.again_at - now)
            if now - checked > 60:
                checked = now
                for part in self.parts:
                    part.trim_log()
            self._sleep(wait)

    def _say_ended(self, part, wait):
        code = part.process.returncode
        how = f"was killed ({signal.Signals(-code).name})" if code < 0 else f"ended with code {code}"
        say.step(f"The {part.name} {how}; it starts again in {wait:.1f} s")
        if part.failures >= 3:
            say.line(f"          It keeps failing. Its last words, from {part.log}:")
            for text in part.last_lines(6):
                say.line(f"            {text}")

    def stop(self):
        """First those that make work, then those that do it, then broker and database."""
        for part in reversed(self.parts):
            part.ask_to_stop()
            if part.end():
                say.step(f"The {part.name} did not stop in time and was made to")
