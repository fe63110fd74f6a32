"""deploy/test: every test, with a PostgreSQL of its own in a temporary folder and Chromium where it is missing."""

import argparse
import os
import shutil
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from deploy.machine import halves, places, say

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
APT = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", "chromium"]
# How each system's package manager brings a browser; the first that is there is asked.
INSTALLERS = (
    ("apt-get", [["apt-get", "update", "-qq"], APT]),
    ("dnf", [["dnf", "install", "-y", "-q", "chromium"]]),
    ("apk", [["apk", "add", "-q", "chromium"]]),
    ("pacman", [["pacman", "-S", "--noconfirm", "chromium"]]),
    ("brew", [["brew", "install", "--quiet", "--cask", "chromium"]]),
)


def parser():
    made = argparse.ArgumentParser(
        prog="deploy/test",
        description="Runs the tests; arguments go to pytest: deploy/test tests/sizing -k head. DATABASE_URL names a "
        "PostgreSQL server to test against instead of the packaged one.",
    )
    made.add_argument("pytest", nargs=argparse.REMAINDER, help="arguments of pytest")
    return made


def find_browser():
    named = os.environ.get("CHROMIUM")
    if named:
        if not os.access(named, os.X_OK):
            raise say.Trouble(f"Setting CHROMIUM is {named!r}: give the path of a Chromium that can be run.")
        return named
    found = next((shutil.which(name) for name in BROWSERS if shutil.which(name)), None)
    mac = Path("/Applications/Chromium.app/Contents/MacOS/Chromium")
    return found or (str(mac) if mac.exists() else None)


def browser():
    """A Chromium for the browser tests, installed when it is missing; None with a sentence where that cannot be."""
    found = find_browser()
    if found:
        return found
    for manager, commands in INSTALLERS:
        if not shutil.which(manager):
            continue
        if manager != "brew" and os.geteuid() != 0:
            say.step(
                f"The browser tests need Chromium. Install it ({' '.join(commands[-1])}, as root) or name one in "
                "CHROMIUM; they fail without it."
            )
            return None
        say.step(f"Installing Chromium with {manager}")
        env = os.environ | {"DEBIAN_FRONTEND": "noninteractive"}
        for command in commands:
            done = subprocess.run(
                command, env=env, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
            )
        found = find_browser()
        if not found:
            say.step(f"Chromium could not be installed; the browser tests fail.\n{done.stderr.strip()[-800:]}")
        return found
    say.step("The browser tests need Chromium, and no known package manager is here. Name one in CHROMIUM.")
    return None


def main():
    from deploy.machine import products
    from deploy.machine.services import Servers

    arguments = sys.argv[1:]
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    os.chdir(places.ROOT)
    products.ready(compiled=True)
    chromium = browser()
    scratch = Path(tempfile.mkdtemp(prefix="rising-main-test-"))
    folder = places.DataFolder(scratch)
    folder.make()
    servers = Servers(folder, with_broker=False, with_fsync=False)
    try:
        servers.start()
        env = dict(os.environ) | {"DATABASE_URL": servers.database_url, "RISING_MAIN_BUILD": str(places.BUILD)}
        env |= {"PYTHONPATH": str(places.ROOT)}
        env.setdefault("NUMBA_CACHE_DIR", str(places.BUILD / "numba"))
        if chromium:
            env["CHROMIUM"] = chromium
        say.step("Running the tests")
        try:
            if (os.cpu_count() or 1) > 1 and halves.whole(arguments):
                code = halves.run(arguments, env, scratch)
            else:
                code = subprocess.run([sys.executable, "-m", "pytest", *arguments], env=env, check=False).returncode
        except KeyboardInterrupt:
            code = 130
    finally:
        servers.stop()
        shutil.rmtree(scratch, ignore_errors=True)
    sys.exit(code if code >= 0 else 128 - code)


if __name__ == "__main__":
    main()
