"""What the scripts tell the person who started them: short lines, at once."""

import contextlib
import errno
import os
import sys
import time

# A script goes on in another Python once the environment is there; the clock goes on with it.
_started = float(os.environ.setdefault("RISING_MAIN_CLOCK", str(time.monotonic())))


class Trouble(SystemExit):
    """Something a person has to mend; ends the script with its sentence and code 1."""


NO_ROOM = {
    errno.ENOSPC: "The disk is full", errno.EDQUOT: "Your share of the disk is full",
    errno.EROFS: "The disk is for reading only", errno.EACCES: "You may not write there",
}  # fmt: skip


@contextlib.contextmanager
def plain_about_disks():
    """A disk that is full, or a place that may not be written to, is a sentence wherever it is met."""
    try:
        yield
    except OSError as error:
        if error.errno not in NO_ROOM:
            raise
        where = f" ({error.filename})" if error.filename else ""
        way_out = "Make room, or choose another folder, and start again. What is kept stays."
        raise Trouble(f"{NO_ROOM[error.errno]}{where}. {way_out}") from None


def line(text=""):
    print(text, flush=True)


def step(text):
    """One step of the way, with the seconds since the start."""
    print(f"[{time.monotonic() - _started:5.1f} s] {text}", flush=True)


class Progress:
    """`12 of 71: numpy`: one line that renews itself on a terminal, some lines in a file."""

    def __init__(self, total, out=None):
        self.total, self.done = total, 0
        self.out = out or sys.stdout
        self.renews = self.out.isatty()

    def tick(self, what):
        self.done += 1
        text = f"          {self.done} of {max(self.total, self.done)}: {what}"
        if self.renews:
            self.out.write("\r" + text[:100].ljust(100))
        elif self.done % max(self.total // 6, 1) == 0 or self.done == self.total:
            self.out.write(text + "\n")
        self.out.flush()

    def end(self):
        if self.renews and self.done:
            self.out.write("\r" + " " * 100 + "\r")
            self.out.flush()
