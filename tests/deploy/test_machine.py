"""The pieces that bring everything up: environment, products, folder, parts."""

import json
import os
import signal
import stat
import subprocess
import sys
import threading
import time
import venv

import pytest

from deploy.machine import environment, owner, parts, places, products, say, start
from deploy.machine.supervisor import Supervisor


@pytest.fixture
def house(tmp_path, monkeypatch):
    """A checkout of its own in which nothing was made yet."""
    monkeypatch.setattr(places, "ROOT", tmp_path)
    monkeypatch.setattr(places, "VENV", tmp_path / ".venv")
    monkeypatch.setattr(places, "BUILD", tmp_path / ".build")
    monkeypatch.setattr(places, "LOCK", tmp_path / "run.lock")
    monkeypatch.setattr(places, "TEST_LOCK", tmp_path / "test.lock")
    places.LOCK.write_text("wells==1 \\\n    --hash=sha256:00\n")
    places.TEST_LOCK.write_text("wells==1 \\\n    --hash=sha256:00\nbuckets==2 \\\n    --hash=sha256:00\n")
    return tmp_path


@pytest.fixture
def installs(house, monkeypatch):
    """Which lists were installed; the installing itself is left out."""
    done = []
    monkeypatch.setattr(environment, "_make_empty", lambda: venv.create(places.VENV, symlinks=True))
    monkeypatch.setattr(environment, "_install", lambda lock: done.append(lock.name))
    return done


def test_the_environment_is_made_once(installs):
    for _ in range(2):
        environment.ready()
    assert installs == ["run.lock"]


def test_the_environment_is_made_anew_when_the_list_changes(installs):
    environment.ready()
    (places.VENV / "of-before").touch()
    places.LOCK.write_text("wells==2 \\\n    --hash=sha256:00\n")
    environment.ready()
    assert installs == ["run.lock", "run.lock"]
    assert not (places.VENV / "of-before").exists()


def test_an_environment_broken_off_half_way_is_made_anew(installs, monkeypatch):
    def breaks_off(lock):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(environment, "_install", breaks_off)
        with pytest.raises(KeyboardInterrupt):
            environment.ready()
    assert not environment.whole()
    environment.ready()
    assert environment.whole() and installs == ["run.lock"]


def test_what_the_tests_need_is_added_to_what_is_there(installs):
    environment.ready()
    (places.VENV / "of-before").touch()
    environment.ready(with_tests=True)
    environment.ready()
    assert installs == ["run.lock", "test.lock"]
    assert (places.VENV / "of-before").exists()


def test_an_environment_that_was_moved_is_made_anew(installs, house, monkeypatch):
    environment.ready()
    places.VENV.rename(house / "elsewhere")
    monkeypatch.setattr(places, "VENV", house / "elsewhere")
    assert not environment.whole()


def test_a_package_that_cannot_be_had_is_a_sentence(house):
    environment._make_empty()
    places.LOCK.write_text(f"wells==1 --hash=sha256:{'0' * 64}\n")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PIP_NO_INDEX", "1")
        patch.delenv("PIP_FIND_LINKS", raising=False)
        with pytest.raises(say.Trouble, match="The packages could not be installed"):
            environment._install(places.LOCK)


def test_a_product_is_made_again_only_when_what_it_comes_from_changes(house, monkeypatch):
    made = []
    source = house / "source.txt"
    source.write_text("one")
    one = ("things", lambda env: made.append(source.read_text()), lambda: products._digest([source]))
    monkeypatch.setattr(products, "PRODUCTS", (one,))
    products.ready()
    products.ready()
    source.write_text("two")
    products.ready()
    assert made == ["one", "two"]


def test_the_loops_are_compiled_only_where_asked_and_again_when_the_cache_is_gone(house, monkeypatch):
    made = []
    cache = house / "numba" / "compiled-1"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache.parent))
    (house / "sizing").mkdir()
    source = house / "sizing" / "pump.py"
    source.write_text("one")

    def compiles(env):
        made.append(source.read_text())
        cache.mkdir(parents=True, exist_ok=True)
        (cache / "pump.nbc").touch()

    monkeypatch.setattr(products, "PRODUCTS", ())
    monkeypatch.setattr(products, "COMPILED", ("loops", compiles, products._of_loops))
    products.ready()
    assert made == []
    for _ in range(2):
        products.ready(compiled=True)
    assert made == ["one"]
    source.write_text("two")
    products.ready(compiled=True)
    (cache / "pump.nbc").unlink()
    products.ready(compiled=True)
    assert made == ["one", "two", "two"]


def test_the_loops_are_compiled_beside_what_is_done_meanwhile_and_a_failure_is_told_when_they_are_waited_for(
    house, monkeypatch
):
    cache = house / "numba" / "compiled-1"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(cache.parent))
    begun, go_on, made = threading.Event(), threading.Event(), []

    def compiles(env):
        begun.set()
        go_on.wait(30)
        if not made:
            made.append("failed")
            raise say.Trouble("no compiler here")
        made.append("done")
        cache.mkdir(parents=True)
        (cache / "pump.nbc").touch()

    one = ("things", lambda env: made.append("things"), lambda: "same")
    monkeypatch.setattr(products, "PRODUCTS", ())
    monkeypatch.setattr(products, "COMPILED", ("loops", compiles, products._of_loops))
    with pytest.raises(say.Trouble, match="no compiler"), products.compiling() as wait:
        assert begun.wait(30)
        go_on.set()
        wait()
    go_on.clear()
    monkeypatch.setattr(products, "PRODUCTS", (one,))
    with products.compiling() as wait:
        products.ready()
        wait(lambda: True)  # somebody wants to stop: nobody waits
        assert made == ["failed", "things"]
        go_on.set()
        wait()
    assert made == ["failed", "things", "done"]
    with products.compiling() as wait:
        wait()
    products.ready(compiled=True)
    assert made == ["failed", "things", "done"]


def test_what_set_up_compiles_covers_each_make_of_pump_and_both_ways_of_feeding_it():
    from deploy.machine import warming

    names = [name for name, _do in warming._steps()]
    assert names == [
        "operating points", "baselines", "days", "the working", "weather and seasons", "causes and their odds",
    ]  # fmt: skip


def test_a_product_whose_making_failed_is_made_again(house, monkeypatch):
    made = []

    def fails_first(env):
        made.append("tried")
        if len(made) == 1:
            raise say.Trouble("no room left")

    monkeypatch.setattr(products, "PRODUCTS", (("things", fails_first, lambda: "same"),))
    with pytest.raises(say.Trouble):
        products.ready()
    products.ready()
    products.ready()
    assert made == ["tried", "tried"]


def test_secrets_are_made_once_and_only_their_owner_reads_them(tmp_path):
    folder = places.DataFolder(tmp_path / "data")
    folder.make()
    first = folder.secret("database_password")
    assert len(first) > 30 and folder.secret("database_password") == first
    assert stat.S_IMODE((folder.path / "database_password").stat().st_mode) == 0o600


def test_an_emptied_secret_is_not_quietly_replaced(tmp_path):
    folder = places.DataFolder(tmp_path)
    (tmp_path / "secret_key").write_text("")
    with pytest.raises(say.Trouble, match="is empty. Put back the copy"):
        folder.secret("secret_key")


def test_a_folder_is_held_by_one_at_a_time(tmp_path):
    folder = places.DataFolder(tmp_path)
    with folder.held() as first, folder.held() as second:
        assert (first, second) == (True, False)
    with folder.held() as again:
        assert again


def test_a_file_is_written_whole_or_not_at_all(tmp_path, monkeypatch):
    path = tmp_path / "state.json"
    places.write_whole(path, "old")

    def power_cut(descriptor):
        raise OSError("power cut")

    monkeypatch.setattr(os, "fsync", power_cut)
    with pytest.raises(OSError, match="power cut"):
        places.write_whole(path, "new")
    assert path.read_text() == "old"


@pytest.mark.parametrize("port", ["0", "65536", "eighty", "-1", "80.5"])
def test_a_port_that_is_none_is_refused(port, capsys):
    with pytest.raises(SystemExit):
        start.parser().parse_args([f"--port={port}"])
    assert f"'{port}' is no port; give a number from 1 to 65535" in capsys.readouterr().err


def _part(tmp_path, script, name="thing", **more):
    return parts.Part(name, [sys.executable, "-c", script], tmp_path / f"{name}.log", dict(os.environ), **more)


SLEEPS = "import time; time.sleep(60)"


def test_a_part_that_is_killed_starts_again_and_all_stop(tmp_path):
    thing, other = _part(tmp_path, SLEEPS), _part(tmp_path, SLEEPS, "other")
    pids = []

    def changed():
        pids.append(thing.pid)
        supervisor.stopping = "SIGTERM"

    supervisor = Supervisor([], on_change=changed)
    with supervisor.signals():
        supervisor.start(thing)
        supervisor.start(other)
        first = thing.pid
        os.kill(first, signal.SIGKILL)
        supervisor.watch()
        assert thing.runs and other.runs
        supervisor.stop()
    assert pids and pids[0] != first
    assert not thing.runs and not other.runs


def test_a_part_that_keeps_failing_waits_longer_each_time_and_its_last_words_are_shown(tmp_path, capsys):
    thing = _part(tmp_path, "raise SystemExit('no water')")
    supervisor = Supervisor([], on_change=lambda: None)

    def changed():
        if thing.restarts == 2:
            thing.process.wait()
            supervisor._say_ended(thing, thing.book_restart(time.monotonic()))
            supervisor.stopping = "SIGTERM"

    supervisor.on_change = changed
    with supervisor.signals():
        supervisor.start(thing)
        supervisor.watch()
        supervisor.stop()
    said = capsys.readouterr().out
    assert "ended with code 1; it starts again in 0.5 s" in said
    assert "it starts again in 1.0 s" in said and "it starts again in 2.0 s" in said
    assert "It keeps failing" in said and "no water" in said


def test_waits_between_tries_have_an_end(tmp_path):
    thing = _part(tmp_path, SLEEPS)
    thing.failures = 40
    thing.started = time.monotonic()
    assert thing.book_restart(time.monotonic()) <= parts.LONGEST_WAIT_S


def test_a_part_that_does_not_stop_is_made_to(tmp_path):
    deaf = "from signal import *; signal(SIGTERM, SIG_IGN); print('deaf', flush=True); import time; time.sleep(60)"
    thing = _part(tmp_path, deaf, stop_within_s=0.5)
    thing.start()
    parts.wait_until(lambda: "deaf" in "".join(thing.last_lines()), thing, 20, "It")
    thing.ask_to_stop()
    assert thing.end() is True
    assert not thing.runs


def test_a_part_that_ends_while_it_is_waited_for_is_a_sentence_with_its_last_words(tmp_path):
    thing = _part(tmp_path, "raise SystemExit('the tank is empty')")
    thing.start()
    with pytest.raises(say.Trouble, match=r"The thing ended\. Its last words(?s:.*)the tank is empty"):
        parts.wait_until(lambda: False, thing, 20, "The thing")


def test_a_long_log_is_cut_and_the_part_goes_on_writing(tmp_path, monkeypatch):
    monkeypatch.setattr(parts, "LOG_LIMIT_BYTES", 100)
    thing = _part(tmp_path, "x = input(); print('x' * 200, flush=True); import time; time.sleep(60)", feed="go\n")
    thing.start()
    parts.wait_until(lambda: thing.log.stat().st_size > 100, thing, 20, "It")
    thing.trim_log()
    assert thing.log.stat().st_size == 0
    assert "xxx" in (tmp_path / "thing.log.1").read_text()
    thing.ask_to_stop()
    thing.end()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux tells children of their parent's death")
def test_parts_end_when_their_supervisor_is_killed(tmp_path):
    script = """if True:
        import os, sys, time
        sys.path.insert(0, sys.argv[1])
        from pathlib import Path
        from deploy.machine.parts import Part
        part = Part("thing", [sys.executable, "-c", "import time; time.sleep(60)"], Path(sys.argv[2]), dict(os.environ))
        part.start()
        print(part.pid, flush=True)
        time.sleep(60)
    """
    root = str(places.ROOT)
    with subprocess.Popen(
        [sys.executable, "-c", script, root, str(tmp_path / "log")], stdout=subprocess.PIPE, text=True
    ) as parent:
        child = int(parent.stdout.readline())
        mark = parts.mark_of(child)
        assert mark
        parent.kill()
    end = time.monotonic() + 10
    while parts.mark_of(child) == mark and time.monotonic() < end:
        time.sleep(0.05)
    assert parts.mark_of(child) != mark


def test_only_what_was_left_behind_is_ended_not_whoever_got_its_number(tmp_path):
    folder = places.DataFolder(tmp_path)
    with subprocess.Popen([sys.executable, "-c", SLEEPS], start_new_session=True) as other:
        with subprocess.Popen([sys.executable, "-c", SLEEPS], start_new_session=True) as left:
            folder.state = {
                "parts": {
                    "worker": {"pid": left.pid, "mark": parts.mark_of(left.pid), "stop": 15},
                    "web server": {"pid": other.pid, "mark": "another moment", "stop": 15},
                }
            }
            # A process that ended stays in the list until its parent looks; ours must be seen to end.
            signal_seen = []
            reaper = signal.signal(signal.SIGCHLD, lambda *_: signal_seen.append(left.poll()))
            start.stop_left_behind(folder)
            signal.signal(signal.SIGCHLD, reaper)
            assert left.wait() == -15
        assert other.poll() is None
        other.kill()


@pytest.mark.skipif(os.geteuid() != 0, reason="only root runs the database as another user")
def test_as_root_the_database_has_a_user_and_a_folder_of_its_own(tmp_path):
    uid, gid = owner.of_database()
    assert uid != 0
    tmp_path.chmod(0o700)
    assert not owner.reaches(tmp_path, uid, gid)


def test_the_state_of_a_folder_survives_nonsense(tmp_path):
    folder = places.DataFolder(tmp_path)
    assert folder.state == {}
    (tmp_path / "state.json").write_text("{half")
    assert folder.state == {}
    folder.state = {"pid": 7}
    assert json.loads((tmp_path / "state.json").read_text()) == {"pid": 7}
