"""What set-up makes in .build from the checkout and the packages: chart script, message catalogues, static files, and
the engineering's loops compiled for this machine.

Each is made anew only when what it comes from has changed, and counts as made only when it is whole.
"""

import concurrent.futures
import contextlib
import hashlib
import json
import os
import platform
import subprocess
import sys
from pathlib import Path

from deploy.machine import places, say


def _digest(paths, contents=True):
    """One word for these files: their names and contents, or their names, sizes and times."""
    found = hashlib.sha256(places.LOCK.read_bytes())
    for path in sorted(paths):
        found.update(str(path).encode())
        if contents:
            found.update(path.read_bytes())
        else:
            about = path.stat()
            found.update(f"{about.st_size} {about.st_mtime_ns}".encode())
    return found.hexdigest()


def _files(*patterns):
    return [path for pattern in patterns for path in places.ROOT.glob(pattern) if path.is_file()]


def _made(pattern):
    return [path for path in places.BUILD.glob(pattern) if path.is_file()]


def _manage(*command, env):
    done = subprocess.run(
        [sys.executable, "-W", "ignore", str(places.ROOT / "manage.py"), *command],
        env=env, capture_output=True, text=True, check=False, cwd=places.ROOT,
    )  # fmt: skip
    if done.returncode:
        raise say.Trouble(f"{command[0]} failed:\n{(done.stderr or done.stdout).strip()[-3000:]}")


def _scripts(env):
    if _files("fleet/web/management/commands/build_scripts.py"):
        _manage("build_scripts", env=env)


def _messages(env):
    import polib

    for source in _files("fleet/web/locale/*/LC_MESSAGES/*.po"):
        target = places.BUILD / "locale" / source.relative_to(places.ROOT / "fleet/web/locale").with_suffix(".mo")
        target.parent.mkdir(parents=True, exist_ok=True)
        polib.pofile(str(source)).save_as_mofile(str(target))


def _static(env):
    _manage("collectstatic", "--noinput", "--clear", "--verbosity", "0", env=env)


_running = set()  # compilers at work


def _loops(env):
    """Half a minute to two, once; without it the first pages and the first night would wait as long."""
    env = env | {"PYTHONPATH": str(places.ROOT), "OPENBLAS_NUM_THREADS": "1"}
    env["NUMBA_CACHE_DIR"] = env.get("NUMBA_CACHE_DIR") or str(places.BUILD / "numba")
    with subprocess.Popen(
        [sys.executable, "-W", "ignore", "-m", "deploy.machine.warming"],
        env=env, cwd=places.ROOT, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
    ) as run:  # fmt: skip
        _running.add(run)
        try:
            said = []
            for text in run.stdout:
                said.append(text)
                say.line(f"          {text.rstrip()}")
        except BaseException:  # Ctrl-C included: the compiler must not go on without us
            run.terminate()
            raise
        finally:
            _running.discard(run)
    if run.returncode:
        raise say.Trouble("The engineering's loops could not be compiled:\n" + "".join(said)[-3000:].strip())


def _of_scripts():
    return _digest(_files("fleet/web/charts*.py", "fleet/web/management/commands/*.py"))


def _of_messages():
    return _digest(_files("fleet/web/locale/*/LC_MESSAGES/*.po"))


def _of_static():
    return _digest(_files("fleet/*/static/**/*", "deploy/settings.py") + _made("scripts/**/*"), contents=False)


def _of_loops():
    """The compiled code is good for this engineering, this list of packages and this kind of processor."""
    kept_in = os.environ.get("NUMBA_CACHE_DIR") or str(places.BUILD / "numba")
    there = any(Path(kept_in).glob("compiled-*/**/*.nbc"))
    try:
        about = Path("/proc/cpuinfo").read_text()
        processor = next((line for line in about.splitlines() if line.startswith(("model name", "CPU part"))), "")
    except OSError:
        processor = platform.processor()
    made = hashlib.sha256(_digest(_files("sizing/**/*.py", "deploy/machine/warming.py")).encode())
    made.update(f"{sys.version} {platform.machine()} {processor} {kept_in}".encode())
    return made.hexdigest() if there else "none yet"


PRODUCTS = (
    ("chart scripts", _scripts, _of_scripts),
    ("messages", _messages, _of_messages),
    ("static files", _static, _of_static),
)
COMPILED = ("compiled loops of the engineering", _loops, _of_loops)  # only where pages and nights are waited for


def _stamps():
    try:
        return json.loads((places.BUILD / "made-from.json").read_text())
    except (OSError, ValueError):
        return {}


def _env():
    return dict(os.environ) | {
        "SECRET_KEY": "none is needed to gather files",
        "DATABASE_URL": "postgres://nobody@127.0.0.1:1/none",
        "RISING_MAIN_BUILD": str(places.BUILD),
        "DJANGO_SETTINGS_MODULE": "deploy.settings",
    }


def _locked():
    return places.one_at_a_time(places.BUILD / "products.lock", lambda: None)


def _keep(stamps):
    places.write_whole(places.BUILD / "made-from.json", json.dumps(stamps, indent=1), 0o644)


def ready(compiled=False):
    """Make what is missing or out of date; `compiled`: the engineering's loops too."""
    if any(_stamps().get(name) != digest() for name, _, digest in PRODUCTS):
        with _locked():
            stamps = _stamps()
            for name, make, digest in PRODUCTS:
                now = digest()  # before the making: what changes meanwhile is made again next time
                if stamps.get(name) == now:
                    continue
                say.step(f"Making {name}")
                make(_env())
                stamps[name] = now
                _keep(stamps)
    if compiled:
        _compile()


def _compile():
    name, make, digest = COMPILED
    if _stamps().get(name) == digest():
        return
    if places.BUILD.exists() and not os.access(places.BUILD, os.W_OK):
        return  # somebody else's folder: the loops are compiled when they are first needed
    with places.one_at_a_time(places.BUILD / "loops.lock", lambda: None):
        now = digest()
        if _stamps().get(name) == now:
            return
        say.step(f"Making {name}")
        make(_env())
        with _locked():
            _keep(_stamps() | {name: digest() if now == "none yet" else now})


@contextlib.contextmanager
def compiling():
    """The engineering's loops are compiled beside what is done meanwhile, for that takes a minute of one core.

    Yields `wait(stopping)`: returns when they are there or somebody wants to stop, and says what went wrong.
    """
    with concurrent.futures.ThreadPoolExecutor(1) as aside:
        made = aside.submit(_compile)

        def wait(stopping=lambda: None):
            while not (made.done() or stopping()):
                concurrent.futures.wait([made], timeout=0.2)
            if made.done():
                made.result()

        try:
            yield wait
        finally:
            for run in list(_running):
                run.terminate()
