"""What stands in the way of deploy/start is told in a plain sentence: an old Python, a place without room or right."""

import ast
import errno
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from deploy.machine import environment, places, say, stage_one
from deploy.machine.postgres import Postgres, free_port

OLD = "import sys; sys.version_info = (3, 8, 10, 'final', 0); from deploy.machine.first import hand_over; "
READ_BY_ANY_PYTHON = ("start", "test", "manage", "backup", "restore", "__init__.py", "machine/__init__.py",
                      "machine/first.py")  # fmt: skip


def run(*command, **env):
    kept = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "BROKER_URL", "RISING_MAIN_CLOCK"}}
    env = kept | {"PYTHONPATH": str(places.ROOT), "RISING_MAIN_BUILD": str(places.BUILD)} | env
    return subprocess.run(
        [sys.executable, *map(str, command)], env=env, capture_output=True, text=True, timeout=120, check=False, cwd="/"
    )


# -- an old Python -----------------------------------------------------------------------------------------------------


def test_too_old_a_python_alone_is_told_which_ones_will_do(tmp_path):
    done = run("-c", OLD + "hand_over('start')", PATH=str(tmp_path))
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert "needs Python 3.11 or newer; this is 3.8.10" in done.stderr and "python3.12" in done.stderr


def test_too_old_a_python_hands_over_to_a_newer_one_that_runs(tmp_path):
    for name, does in (("python3.13", "exit 1"), ("python3.12", 'test "$1" = -c || echo "handed over: $*"')):
        stand_in = tmp_path / name  # the first is on the path and does not run
        stand_in.write_text(f"#!/bin/sh\n{does}\n")
        stand_in.chmod(0o755)
    arguments = ["deploy/start", "--port", "8123"]
    done = run("-c", f"{OLD}sys.argv = {arguments}; hand_over('start')", PATH=str(tmp_path))
    assert (done.returncode, done.stdout) == (0, "handed over: deploy/start --port 8123\n"), done.stderr


@pytest.mark.parametrize("name", READ_BY_ANY_PYTHON)
def test_what_an_old_python_reads_first_it_can_read(name):
    text = (places.ROOT / "deploy" / name).read_text()
    ast.parse(text, feature_version=(3, 4))


# -- no room, no right -------------------------------------------------------------------------------------------------


@pytest.fixture
def small_disk():
    """`small_disk(kB of room)`: a real disk of 256 kB with so much room left, which the database's user reaches."""
    if os.geteuid() != 0:
        pytest.skip("only root can make a small disk")
    place = Path(tempfile.mkdtemp(prefix="rising-main-small-"))
    place.chmod(0o755)
    made = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(place)], check=False)
    if made.returncode:
        place.rmdir()
        pytest.skip("this machine lets nobody make a small disk (no right to mount)")

    def with_room(left_kb):
        (place / "ballast").write_bytes(b"x" * 1024 * (256 - left_kb))
        return place

    yield with_room
    subprocess.run(["umount", "--lazy", str(place)], check=True)
    place.rmdir()


def starts(folder):
    done = run("-m", "deploy.machine.start", "--port", free_port(), "--data", folder, "--no-demo")
    assert done.returncode == 1 and "Traceback" not in done.stderr
    return done.stderr


def test_a_full_disk_is_a_sentence_and_leaves_nothing_that_looks_like_a_secret(small_disk):
    folder = small_disk(0)
    said = starts(folder)
    assert "The disk is full" in said or "No space left on device" in said
    assert not list(folder.glob("*_password")) and not list(folder.glob("secret_key"))


def test_a_disk_that_fills_while_the_database_is_made_leaves_no_half_one(small_disk):
    folder = places.DataFolder(small_disk(120))
    folder.make()
    with pytest.raises(say.Trouble, match=r"could not be made(?s:.*)No space left on device"):
        Postgres(folder, with_fsync=False).make()
    assert not list(folder.path.glob("database*/cluster"))


@pytest.mark.parametrize("before", [(), ("files", "logs")], ids=["new", "used before"])
def test_a_disk_for_reading_only_is_a_sentence(small_disk, before):
    folder = small_disk(120)
    for made in before:
        (folder / made).mkdir()
    subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
    sentence = "You may not write in the data folder" if before else "cannot be made: Read-only file system"
    assert sentence in starts(folder)


def test_a_data_folder_that_is_a_file_is_a_sentence(tmp_path):
    (tmp_path / "data").write_text("a letter")
    assert "cannot be made: " in starts(tmp_path / "data")


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EACCES])
def test_the_set_up_itself_says_so_too(number, monkeypatch):
    def fails(with_tests):
        raise OSError(number, os.strerror(number), "/somewhere/made-from.json")

    monkeypatch.setattr(environment, "ready", fails)
    monkeypatch.setattr(sys, "argv", ["deploy/start"])
    monkeypatch.setattr(stage_one.signal, "signal", lambda *_: None)
    with pytest.raises(say.Trouble, match=r"\(/somewhere/made-from.json\). Make room, or choose another folder"):
        stage_one.run("start", with_tests=False)


def test_an_environment_in_a_place_with_spaces_and_other_letters_runs(tmp_path, monkeypatch):
    monkeypatch.setattr(places, "VENV", tmp_path / "Añó of wells" / ".venv")
    environment._make_empty()
    python = environment.python_of(places.VENV)
    done = subprocess.run([str(python), "-m", "pip", "--version"], capture_output=True, text=True, check=False)
    assert done.returncode == 0 and "Añó of wells" in done.stdout
