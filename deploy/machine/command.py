"""deploy/manage: one of the commands, in the same environment and with the same servers as deploy/start.

When Rising Main runs on the data folder, its servers are used. Otherwise the database is started for the command and
stopped after it, and work that would go to a worker is done at once.
"""

import argparse
import os
import signal
import subprocess
import sys

from deploy.machine import places


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
    from deploy.machine import products
    from deploy.machine.servers_for import servers_for

    args = parser().parse_args()
    command = args.command or ["help"]
    products.ready()
    with servers_for(places.DataFolder(args.data), f"The command {command[0]}", command[0] != "migrate") as env:
        code = _call(env, command)
    sys.exit(code if code >= 0 else 128 - code)


if __name__ == "__main__":
    main()
