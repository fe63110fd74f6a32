"""deploy/restore FILE.tar: brings a backup into an empty data folder, or into the empty database of DATABASE_URL.

Everything in the file is checked first; what is there already is never written over.
"""

import argparse
import json
import os
import shutil
import sys
import tarfile
import tempfile
from pathlib import Path

from deploy.machine import places, say
from deploy.machine.backup import FORMAT, call, digest_of, program


def parser():
    made = argparse.ArgumentParser(prog="deploy/restore", description=__doc__.split("\n\n")[0])
    made.add_argument("file", type=Path, help="what deploy/backup wrote")
    made.add_argument("--data", default=os.environ.get("RISING_MAIN_DATA") or places.DATA, metavar="FOLDER")
    return made


def unpack(file, scratch):
    """Unpack into a scratch folder and check every part; a sentence about the first that is not as it should be."""
    try:
        with tarfile.open(file) as tar:
            for entry in tar:
                path = (scratch / entry.name).resolve()
                if not entry.isfile() or scratch.resolve() not in path.parents:
                    raise ValueError(entry.name)  # nothing that we write looks like this
                path.parent.mkdir(parents=True, exist_ok=True)
                with tar.extractfile(entry) as source, path.open("wb") as target:
                    shutil.copyfileobj(source, target)
        about = json.loads((scratch / "about.json").read_text())
        form, named = about["format"], about["parts"]
    except FileNotFoundError:
        raise say.Trouble(f"{file} is not there, or is not a whole backup: its list of contents is missing.") from None
    except (tarfile.TarError, OSError, ValueError, KeyError, TypeError):
        raise say.Trouble(f"{file} is not a backup of Rising Main, or it was cut short.") from None
    if form != FORMAT:
        raise say.Trouble(f"{file} was made by another version (format {form}); this one reads format {FORMAT}.")
    for name, digest in named.items():
        path = scratch / name
        if not path.is_file() or digest_of(path) != digest:
            raise say.Trouble(f"In {file}, {name} is damaged. Nothing was changed; take another backup.")
    return about


def main():
    from deploy.machine.servers_for import database_of

    args = parser().parse_args()
    folder = places.DataFolder(args.data)
    own_server = bool(os.environ.get("DATABASE_URL"))
    if not own_server and (folder.path / "database_password").exists():
        raise say.Trouble(
            f"{folder.path} holds a Rising Main already. Restore into another folder (--data FOLDER), look whether all "
            "is there, and start on that one."
        )
    with tempfile.TemporaryDirectory(prefix="rising-main-restore-") as scratch:
        say.step(f"Checking {args.file}")
        about = unpack(args.file, Path(scratch))
        folder.make()
        if any((folder.path / "files").iterdir()):
            raise say.Trouble(f"{folder.path / 'files'} is not empty. Restore into another folder (--data FOLDER).")
        with database_of(folder, "A restore", create_tables=False) as url:
            tables = call([program("psql"), "-XAtc", "SELECT count(*) FROM pg_stat_user_tables"], url)
            if int(tables):
                raise say.Trouble("The database is not empty. Name an empty one; nothing is written over.")
            say.step(f"Bringing in the database of {about['made']}")
            command = [
                program("pg_restore"),
                "--no-owner",
                "--no-privileges",
                "--exit-on-error",
                "--single-transaction",
            ]
            call([*command, f"--dbname={_name(url)}", str(Path(scratch) / "database.dump")], url)
        if (Path(scratch) / "files").is_dir():
            shutil.copytree(Path(scratch) / "files", folder.path / "files", dirs_exist_ok=True)
        if (Path(scratch) / "secret_key").exists():
            places.write_whole(folder.path / "secret_key", (Path(scratch) / "secret_key").read_text())
    say.step(f"All is back, as of {about['made']}. Start with: deploy/start --data {folder.path}")


def _name(url):
    from urllib.parse import unquote, urlsplit

    return unquote(urlsplit(url).path.strip("/"))


if __name__ == "__main__":
    sys.exit(main())
