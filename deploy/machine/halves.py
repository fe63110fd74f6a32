"""The tests in two processes beside each other, where there are two cores.

What drives a browser, starts whole services or kills them waits for others most of the time and holds them to a
clock. It is cut into stretches, of which a first hand does one after another. All other tests only compute: a second
hand begins with them, giving way to the first, and then takes what is still waiting. Each hand has a database, a folder
and a cache of compiled code of its own.
"""

import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time

from deploy.machine import places, say

FIRST = ("tests/browser", "tests/deploy", "tests/faults")  # longest first
HOW_IT_IS_SHOWN = r"-[qvl]+|-r\w+|--(durations|durations-min|tb|color)=.*"
GIVES_WAY = "10"  # of 19


def whole(arguments):
    """Whether these arguments of pytest choose nothing: every test is wanted."""
    return all(re.fullmatch(HOW_IT_IS_SHOWN, word) for word in arguments)


class Stretch:
    """One run of pytest. Its output is shown as it comes, or kept until it is asked for."""

    def __init__(self, name, command, env, shown=False):
        self.name, self.shown, self.said = name, shown, bytearray()
        # Where a shell runs this in the background, Ctrl-C is ignored, and a child would inherit that: it could not be
        # stopped with its cleaning up done. A signal that is handled here comes back to its default in the child.
        before = signal.signal(signal.SIGINT, signal.default_int_handler)
        try:
            self.process = subprocess.Popen(
                command, env=env, cwd=places.ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT, start_new_session=True,
            )  # fmt: skip
        finally:
            signal.signal(signal.SIGINT, before)
        self.reader = threading.Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self):
        with self.process.stdout as words:
            while piece := words.read1(65536):
                self.said += piece
                if self.shown:
                    _show(piece)

    def end(self):
        code = self.process.wait()
        self.reader.join(10)  # what a child of a test still holds open is not waited for
        return code

    def stop(self):
        """As Ctrl-C does: pytest ends its test, cleans up and says what it had so far."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(60)
            except subprocess.TimeoutExpired:
                os.killpg(self.process.pid, signal.SIGKILL)
                self.process.wait()

    @property
    def lines(self):
        return self.said.decode(errors="replace").splitlines()

    def faults(self):
        return [line for line in self.lines if line.startswith(("FAILED ", "ERROR "))]

    def last(self):
        return next((line.strip("= ") for line in reversed(self.lines) if line.strip()), "said nothing")


def _show(piece):
    sys.stdout.buffer.write(piece)
    sys.stdout.buffer.flush()


def run(arguments, env, scratch):
    """Every test, by two hands. Returns pytest's code of the first stretch that failed, else 0."""
    pytest = [sys.executable, "-m", "pytest", *arguments]
    others = _of_others(env, scratch)
    waiting = list(FIRST)
    say.step(f"{waiting[0]} goes first; all other tests run beside it and are shown when all has ended")
    done, hands = [], {}

    def take(hand, name, what, nice=()):
        keeps = ["-o", f"cache_dir={scratch / 'pytest-of-others'}"] if hand else []
        command = [*nice, *pytest, *keeps, *what]
        hands[hand] = Stretch(name, command, others if hand else env, shown=not hand)
        done.append(hands[hand])

    try:
        take(0, waiting[0], [waiting.pop(0)])
        gives_way = ["nice", "-n", GIVES_WAY] if shutil.which("nice") else []
        take(1, "all others", [*(f"--ignore={folder}" for folder in FIRST), "tests"], gives_way)
        while hands:
            for hand, stretch in list(hands.items()):
                if stretch.process.poll() is None:
                    continue
                stretch.end()
                del hands[hand]
                if waiting:
                    say.step(f"{stretch.name}: {stretch.last()}; going on with {waiting[0]}")
                    take(hand, waiting[0], [waiting.pop(0)])
            time.sleep(0.1)
    except BaseException:  # Ctrl-C and SIGTERM too: no stretch may be left running without its parent
        for stretch in done:
            stretch.stop()
        raise
    for stretch in done:
        if not stretch.shown:
            _show(bytes(stretch.said))
    faults = [line for stretch in done for line in stretch.faults()]
    if faults:
        say.step(f"{len(faults)} of all tests failed:")
        for line in faults:
            say.line(line)
    codes = [stretch.end() for stretch in done]
    for stretch, code in zip(done, codes, strict=True):
        say.step(f"Tests of {stretch.name}: {stretch.last()}" + (f" (code {code})" if code else ""))
    return next((code for code in codes if code), 0)


def _of_others(env, scratch):
    """The surroundings of the second hand: nothing that both would write to."""
    server, name = env["DATABASE_URL"].rsplit("/", 1)
    name, _mark, options = name.partition("?")
    kept = scratch / "compiled-for-others"
    there = env.get("NUMBA_CACHE_DIR")
    if there and os.path.isdir(there):  # noqa: PTH112
        shutil.copytree(there, kept)
    changed = {"DATABASE_URL": f"{server}/{name}_others{_mark}{options}", "NUMBA_CACHE_DIR": str(kept)}
    if env.get("RISING_MAIN_DATA"):
        changed["RISING_MAIN_DATA"] = str(scratch / "files-of-others")
    return env | changed
