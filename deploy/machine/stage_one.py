"""With a Python that is new enough: read the arguments, prepare the environment, go on inside it."""

import importlib
import os
import signal
import sys

from deploy.machine import environment, places, say


def _stopped(number, frame):
    raise KeyboardInterrupt


def run(work, with_tests):
    module = importlib.import_module(f"deploy.machine.{work}")
    arguments = sys.argv[1:]
    module.parser().parse_known_args(arguments)  # a wrong option, or --help, costs no installation
    signal.signal(signal.SIGTERM, _stopped)
    try:
        with say.plain_about_disks():
            python = environment.ready(with_tests)
    except KeyboardInterrupt:
        say.line("\nStopped. Start again to go on from here.")
        sys.exit(130)
    env = dict(os.environ)
    env["PYTHONPATH"] = str(places.ROOT)
    env.pop("PYTHONHOME", None)
    sys.stdout.flush()
    os.execve(python, [str(python), "-m", f"deploy.machine.{work}", *arguments], env)  # noqa: S606
