"""deploy/manage: one of the commands, in the same environment and with the same servers as deploy/start.

When Rising Main runs on the data folder, its servers are used. Otherwise the database is started for the command and
stopped after it, and work that would go to a worker is done at once.
"""

import argparse
import os
import signal
import subprocess
import sys

from deploy.machine import places, say


def parser():
    made = argparse.ArgumentParser(
        prog="deploy/manage",
        description="Runs a command: deploy/manage help lists them, deploy/manage COMMAND --help tells about one.",
    )
    made.add_argument("--data", default=os.environ.get("RISING_MAIN_DATA") or places.DATA, metavar="FOLDER")
    made.add_argument("command", nargs=argparse.REMAINDER)
    return made


def _call(env, command):
    """The command belongs to the caller's terminal and folder; Ctrl-C reaches it directly and we wait for it."""
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    process = subprocess.Popen(
        [sys.executable, str(places.ROOT / "manage.py"), *command],
        env=env,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )
    signal.signal(signal.SIGTERM, lambda *_: process.terminate())
    try:
        return process.wait()
    finally:
        signal.signal(signal.SIGINT, before)


def main():
    args = parser().parse_args()
    command = args.command or ["help"]
    folder = places.DataFolder(args.data)
    if not os.environ.get("DATABASE_URL"):
        folder.make()
    code = _with_servers(folder, command)
    sys.exit(code if code >= 0 else 128 - code)


def _with_servers(folder, command):
    from deploy.machine import products
    from deploy.machine.services import Servers, environment_of, migrate

    if os.environ.get("DATABASE_URL"):
        folder.make()
        env = environment_of(folder, os.environ["DATABASE_URL"])
        if not os.environ.get("BROKER_URL"):
            env["TASKS_AT_ONCE"] = "yes"
        return _call(env, command)
    with folder.held() as free:
        if not free:
            running = folder.state.get("env")
            if not running:
                raise say.Trouble(
                    f"{folder.state.get('what', 'Another script')} is just starting or ending on {folder.path}. "
                    "Try again in a moment."
                )
            return _call(environment_of(folder, running["DATABASE_URL"]) | running, command)
        from deploy.machine.start import stop_left_behind

        stop_left_behind(folder)
        folder.state = {"what": f"The command {command[0]}", "pid": os.getpid()}
        products.ready()
        servers = Servers(folder, with_broker=False)
        try:
            servers.start(quiet=True)
            env = environment_of(folder, servers.database_url, TASKS_AT_ONCE="yes")
            folder.state |= {"env": {"DATABASE_URL": servers.database_url, "TASKS_AT_ONCE": "yes"}}
            if command[0] != "migrate":
                migrate(env, folder, quiet=True)
            return _call(env, command)
        finally:
            servers.stop()
            folder.state = {}


if __name__ == "__main__":
    main()
