"""Where things lie: the checkout, what is made in it, and the data folder with its secrets, lock and state.

The state file says what runs on the folder, so that a second script can use it; the lock says whether it still does.
"""

import contextlib
import fcntl
import json
import os
import secrets
from pathlib import Path

from deploy.machine.say import Trouble

ROOT = Path(__file__).resolve().parent.parent.parent
VENV = ROOT / ".venv"
BUILD = Path(os.environ.get("RISING_MAIN_BUILD") or ROOT / ".build").resolve()
DATA = ROOT / ".data"
LOCK = ROOT / "deploy" / "requirements.lock"
TEST_LOCK = ROOT / "deploy" / "requirements-test.lock"


def write_whole(path, text, mode=0o600):
    """Write so that a reader, or a machine that stops now, sees the old text or the new one."""
    new = path.with_name(path.name + ".new")
    with contextlib.suppress(FileNotFoundError):
        new.unlink()
    with os.fdopen(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "w") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    new.replace(path)


@contextlib.contextmanager
def one_at_a_time(path, waiting=None):
    """Hold a lock file; wait for whoever holds it (`waiting` is said once), or with None give up: yields False."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("a") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            if waiting is None:
                yield False
                return
            waiting()
            fcntl.flock(file, fcntl.LOCK_EX)
        yield True


class DataFolder:
    """The folder that holds database, files, secrets and logs of one Rising Main."""

    def __init__(self, path):
        self.path = Path(path).expanduser().resolve()

    def make(self):
        try:
            for folder in (self.path, self.path / "logs", self.path / "files"):
                folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Trouble(f"The data folder {self.path} cannot be made: {error.strerror}.") from None
        if not os.access(self.path, os.W_OK | os.X_OK):
            raise Trouble(
                f"You may not write in the data folder {self.path}: it belongs to somebody else, or its disk is for "
                "reading only. Choose another with --data."
            )
        # As root the database runs as a user of its own, who must be able to pass through.
        self.path.chmod(0o711 if os.geteuid() == 0 else 0o700)
        for private in ("logs", "files"):
            with contextlib.suppress(PermissionError):
                (self.path / private).chmod(0o700)

    def secret(self, name, length=32):
        """A random word kept in a file only its owner reads; made once."""
        path = self.path / name
        if not path.exists():
            write_whole(path, secrets.token_urlsafe(length) + "\n")
        kept = path.read_text().strip()
        if not kept:
            raise Trouble(f"{path} is empty. Put back the copy from your backup, or remove the file to get a new one.")
        return kept

    def log(self, name):
        return self.path / "logs" / f"{name}.log"

    def held(self):
        """The lock of this folder; yields False when another script holds it."""
        return one_at_a_time(self.path / "lock")

    @property
    def state(self):
        try:
            return json.loads((self.path / "state.json").read_text())
        except (OSError, ValueError):
            return {}

    @state.setter
    def state(self, found):
        write_whole(self.path / "state.json", json.dumps(found, indent=1) + "\n")
