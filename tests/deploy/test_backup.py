"""What was entered comes back from a backup, and nothing that is there is written over."""

import io
import json
import os
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

import pytest

from deploy.machine import places

pytestmark = pytest.mark.slow
NOT_OURS = ("DATABASE_URL", "BROKER_URL", "SECRET_KEY", "RISING_MAIN_DATA", "TASKS_AT_ONCE", "RISING_MAIN_CLOCK")


def _run(work, *arguments):
    env = {k: v for k, v in os.environ.items() if k not in NOT_OURS}
    env |= {"PYTHONPATH": str(places.ROOT), "RISING_MAIN_BUILD": str(places.BUILD)}
    command = [sys.executable, "-m", f"deploy.machine.{work}", *map(str, arguments)]
    return subprocess.run(command, env=env, capture_output=True, text=True, timeout=150, check=False, cwd="/")


@pytest.fixture(scope="module")
def place():
    with tempfile.TemporaryDirectory(prefix="rising-main-backup-", ignore_cleanup_errors=True) as folder:
        Path(folder).chmod(0o755)
        yield Path(folder)


@pytest.fixture(scope="module")
def backup(place):
    """A backup of a folder with one organisation and one photo."""
    data = place / "data"
    done = _run("command", "--data", data, "make_organisation", "Dry Hills Water", "--administrator", "amara")
    assert done.returncode == 0, done.stderr
    (data / "files" / "visits").mkdir()
    (data / "files" / "visits" / "well.jpg").write_bytes(b"a photo")
    done = _run("backup", place / "backup.tar", "--data", data)
    assert done.returncode == 0, done.stderr
    return place / "backup.tar"


def test_everything_comes_back_in_another_folder(backup, place):
    assert backup.stat().st_mode & 0o777 == 0o600
    done = _run("restore", backup, "--data", place / "back")
    assert done.returncode == 0, done.stderr
    ask = "from fleet.people.models import Person; print([str(p.organisation) for p in Person.objects.all()])"
    found = _run("command", "--data", place / "back", "shell", "--no-imports", "-c", ask)
    assert "['Dry Hills Water']" in found.stdout, found.stderr
    assert (place / "back" / "files" / "visits" / "well.jpg").read_bytes() == b"a photo"
    assert (place / "back" / "secret_key").read_text() == (place / "data" / "secret_key").read_text()


def test_a_backup_is_not_written_over(backup, place):
    done = _run("backup", backup, "--data", place / "data")
    assert done.returncode == 1 and "is there already" in done.stderr


def test_a_folder_in_use_is_not_restored_into(backup, place):
    done = _run("restore", backup, "--data", place / "data")
    assert done.returncode == 1 and "holds a Rising Main already" in done.stderr


def test_a_folder_without_rising_main_gives_no_backup(place):
    done = _run("backup", place / "other.tar", "--data", place / "nothing-here")
    assert done.returncode == 1 and "nothing to back up" in done.stderr
    assert not (place / "other.tar").exists()


def _changed(backup, target, name, text):
    with tarfile.open(backup) as old, tarfile.open(target, "w") as new:
        for entry in old:
            data = old.extractfile(entry).read()
            if entry.name == name:
                data = text(data)
                entry.size = len(data)
            new.addfile(entry, io.BytesIO(data))
    return target


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        (lambda b, t: t.write_bytes(b.read_bytes()[:40_000]) and t, "was cut short"),
        (lambda b, t: t.write_text("no tar") and t, "is not a backup of Rising Main"),
        (lambda b, t: t.with_name("not-there.tar"), "is not there"),
        (lambda b, t: _changed(b, t, "files/visits/well.jpg", lambda d: d + b"!"), "files/visits/well.jpg is damaged"),
        (
            lambda b, t: _changed(b, t, "about.json", lambda d: json.dumps(json.loads(d) | {"format": 9}).encode()),
            "was made by another version (format 9)",
        ),
    ],
    ids=["cut short", "something else", "missing", "a damaged photo", "another version"],
)
def test_a_spoiled_backup_is_refused_before_anything_changes(backup, tmp_path, spoil, sentence):
    done = _run("restore", spoil(backup, tmp_path / "spoiled.tar"), "--data", tmp_path / "into")
    assert done.returncode == 1 and sentence in done.stderr, done.stderr
    assert not (tmp_path / "into").exists()


def test_a_file_that_would_be_written_outside_is_refused(tmp_path):
    with tarfile.open(tmp_path / "bad.tar", "w") as tar:
        entry = tarfile.TarInfo("../outside.txt")
        entry.size = 1
        tar.addfile(entry, io.BytesIO(b"x"))
    done = _run("restore", tmp_path / "bad.tar", "--data", tmp_path / "into")
    assert done.returncode == 1 and "is not a backup" in done.stderr
