"""The first moments of every script in deploy/: a Python that is new enough, then the environment, then the work.

This file is read by whatever Python the machine has, so it keeps to words that old ones know.
"""

import os
import subprocess
import sys

OLDEST = (3, 11)
NEWER = ("python3.13", "python3.12", "python3.11", "python3.14")  # the first of these that the machine has


def _on_path(name):
    """A program of this name that really runs: some tools put names on the path that lead nowhere."""
    for folder in os.environ.get("PATH", "").split(os.pathsep):
        found = os.path.join(folder, name)  # noqa: PTH118
        if os.access(found, os.X_OK):
            with open(os.devnull, "w") as nowhere:  # noqa: PTH123
                if subprocess.call([found, "-c", "import venv"], stdout=nowhere, stderr=nowhere) == 0:
                    return found
    return None


def hand_over(work, with_tests=False):
    """Prepare the environment and go on as deploy.machine.<work> inside it; never returns."""
    if sys.version_info < OLDEST:
        for name in NEWER:
            python = _on_path(name)
            if python:
                os.execv(python, [python] + sys.argv)  # noqa: RUF005, S606
        sys.exit(
            "Rising Main needs Python 3.11 or newer; this is "
            + ".".join(str(part) for part in sys.version_info[:3])
            + ". Install a newer one (python3.11, python3.12 or python3.13) and start again."
        )
    from deploy.machine import stage_one

    stage_one.run(work, with_tests)
