"""The tests in two processes beside each other, where there are two cores.

What drives a browser, starts whole services or kills them waits for others most of the time and holds them to a
clock, so it stays in one process, one test after another, and goes before. All other tests only compute: they take
what it leaves of the machine, with a database, a folder and a cache of compiled code of their own.
"""

import os
import re
import shutil
import signal
import subprocess
import sys
import threading

from deploy.machine import places, say

FIRST = ("tests/browser", "tests/deploy", "tests/faults")
HOW_IT_IS_SHOWN = r"-[qvl]+|-r\w+|--(durations|durations-min|tb|color)=.*"
GIVES_WAY = "10"  # of 19


def whole(arguments):
    """Whether these arguments of pytest choose nothing: every test is wanted."""
    return all(re.fullmatch(HOW_IT_IS_SHOWN, word) for word in arguments)


class Half:
    """One run of pytest. Its output is shown as it comes, or kept until it is asked for."""

    def __init__(self, name, command, env, shown=False):
        self.name, self.shown, self.said = name, shown, bytearray()
        self.process = subprocess.Popen(
            command, env=env, cwd=places.ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT, start_new_session=True,
        )  # fmt: skip
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
    """Every test, in two halves. Returns pytest's code of the first half that failed, else 0."""
    pytest = [sys.executable, "-m", "pytest", *arguments]
    beside = [f"--ignore={folder}" for folder in FIRST]
    beside += ["-o", f"cache_dir={scratch / 'pytest-of-others'}", "tests"]
    say.step(f"{', '.join(FIRST)} go first; all other tests run beside them and are shown when they have ended")
    halves = [Half("with browser and services", [*pytest, *FIRST], env, shown=True)]
    try:
        gives_way = ["nice", "-n", GIVES_WAY] if shutil.which("nice") else []
        halves.append(Half("all others", [*gives_way, *pytest, *beside], _of_others(env, scratch)))
        codes = [halves[0].end()]
        say.step("The tests with browser and services have ended; waiting for all others")
        codes.append(halves[1].end())
    except BaseException:  # Ctrl-C and SIGTERM too: no half may be left running without its parent
        for half in halves:
            half.stop()
        raise
    _show(bytes(halves[1].said))
    faults = [line for half in halves for line in half.faults()]
    if faults:
        say.step(f"{len(faults)} of all tests failed:")
        for line in faults:
            say.line(line)
    for half, code in zip(halves, codes, strict=True):
        say.step(f"Tests {half.name}: {half.last()}" + (f" (code {code})" if code else ""))
    return next((code for code in codes if code), 0)


def _of_others(env, scratch):
    """The surroundings of the second half: nothing that both would write to."""
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
