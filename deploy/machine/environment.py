"""The virtual environment: made from the list of exact versions, known to be whole, made anew when the list changes."""

import hashlib
import json
import os
import re
import shutil
import subprocess
import sys
from functools import partial
from pathlib import Path

from deploy.machine import places, say


def python_of(folder):
    return folder / "bin" / "python"


def _stamp(lock):
    """What an environment made now would rest on."""
    return {
        "lock": hashlib.sha256(lock.read_bytes()).hexdigest(),
        "python": sys.version.split()[0],
        "place": str(places.VENV),
    }


def _kept():
    try:
        return json.loads((places.VENV / "made-from.json").read_text())
    except (OSError, ValueError):
        return {}


def ready(with_tests=False):
    """Bring .venv to what the lists say; quick when it is so already. Returns its Python."""
    if not whole(with_tests):
        waiting = partial(say.step, "Another script is preparing the environment; waiting for it.")
        with places.one_at_a_time(places.BUILD / "environment.lock", waiting):
            if not whole(with_tests):
                _make(with_tests)
    return python_of(places.VENV)


def whole(with_tests=False):
    """Whether .venv was finished from these very lists, in this place, by this Python."""
    kept = _kept()
    if not python_of(places.VENV).exists() or kept.get("run") != _stamp(places.LOCK):
        return False
    return not with_tests or kept.get("test") == _stamp(places.TEST_LOCK)


def _make(with_tests):
    kept = _kept()
    stamp_file = places.VENV / "made-from.json"
    if kept.get("run") == _stamp(places.LOCK):
        stamp_file.unlink()  # put back at the end: an installation broken off is seen
    else:
        _clear()
        say.step(f"Making the environment in {places.VENV.name} (Python {sys.version.split()[0]})")
        _make_empty()
    lock = places.TEST_LOCK if with_tests else places.LOCK
    _install(lock)
    stamp = {"run": _stamp(places.LOCK)}
    if with_tests:
        stamp["test"] = _stamp(places.TEST_LOCK)
    places.write_whole(stamp_file, json.dumps(stamp, indent=1), 0o644)


def _clear():
    if places.VENV.exists():
        # Renamed first, so that a removal broken off leaves nothing that looks like an environment.
        old = places.VENV.with_name(".venv.old")
        shutil.rmtree(old, ignore_errors=True)
        places.VENV.rename(old)
        shutil.rmtree(old, ignore_errors=True)


def _make_empty():
    done = subprocess.run([sys.executable, "-m", "venv", str(places.VENV)], capture_output=True, text=True, check=False)
    if done.returncode == 0:
        return
    version = f"{sys.version_info.major}.{sys.version_info.minor}"
    if "ensurepip" in done.stdout + done.stderr:
        if os.geteuid() == 0 and shutil.which("apt-get"):
            say.step(f"This Python lacks its venv part; installing python{version}-venv")
            subprocess.run(["apt-get", "update", "-qq"], check=False, stdout=subprocess.DEVNULL)
            got = subprocess.run(
                ["apt-get", "install", "-y", "-qq", f"python{version}-venv"], check=False, stdout=subprocess.DEVNULL
            )
            if got.returncode == 0:
                shutil.rmtree(places.VENV, ignore_errors=True)
                subprocess.run([sys.executable, "-m", "venv", str(places.VENV)], check=True)
                return
        raise say.Trouble(
            f"This Python cannot make an environment: its venv part is missing. Install it "
            f"(Debian, Ubuntu: apt-get install python{version}-venv) and start again."
        )
    raise say.Trouble(f"The environment could not be made:\n{(done.stderr or done.stdout).strip()}")


def _install(lock):
    names = re.findall(r"^([A-Za-z0-9][^=\s]*)==", lock.read_text(), re.MULTILINE)
    say.step(f"Installing {len(names)} packages, each checked against its hash")
    command = [
        str(python_of(places.VENV)), "-m", "pip", "install", "--disable-pip-version-check", "--no-input", "--no-deps",
        "--require-hashes", "--no-compile", "--progress-bar", "off", "--requirement", str(lock),
    ]  # fmt: skip
    # A user's own settings for pip (a mirror, a proxy, a certificate) hold; settings that would send the packages
    # elsewhere than into the environment do not.
    env = {k: v for k, v in os.environ.items() if k not in {"PIP_TARGET", "PIP_PREFIX", "PIP_USER", "PYTHONPATH"}}
    progress, tail = say.Progress(len(names)), []
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env=env, bufsize=1
    ) as pip:
        try:
            for text in pip.stdout:
                tail = [*tail[-15:], text.rstrip()]
                found = re.match(r"(?:Collecting|Requirement already satisfied:) ([A-Za-z0-9._-]+)", text)
                if found:
                    progress.tick(found.group(1).split("==")[0])
                elif text.startswith("Installing collected packages"):
                    progress.end()
                    say.step("All there; unpacking")
        except BaseException:  # Ctrl-C included: the installer must not go on without us
            pip.terminate()
            raise
    progress.end()
    if pip.returncode == 0:
        whole = subprocess.run(
            [*command[:3], "check", "--disable-pip-version-check"], capture_output=True, text=True, env=env, check=False
        )
        if whole.returncode:
            raise say.Trouble(
                f"The list {lock.name} lacks something on this kind of machine, which is a fault of the list:\n"
                + whole.stdout.strip()
            )
    if pip.returncode:
        raise say.Trouble(
            "The packages could not be installed. The last lines of the installer:\n  "
            + "\n  ".join(tail)
            + "\nIs the network, or the package index that pip is set up for, within reach? What is there already is "
            "kept in pip's own cache; start again to go on."
        )


def packaged(name):
    """Folder of a package installed where we run, found without importing it; None when it is not there."""
    return next((Path(place) / name for place in sys.path if place and (Path(place) / name).is_dir()), None)
