"""deploy/test on two cores: what chooses nothing is done by two hands that share nothing, and one summary ends it."""

import os
import signal
import sys
import threading
from pathlib import Path

import pytest

from deploy.machine import halves, places

EVERYTHING = [[], ["-q"], ["-vv", "-rs", "--durations=80"], ["-x", "--tb=short"]]
CHOSEN = [["tests/visits"], ["tests/visits", "-k", "after_test"], ["-k", "after_test"], ["-m", "not slow"],
          ["tests/visits/test_api.py::test_each_list"], ["--lf"], ["-p", "no:randomly"], ["--junitxml=all.xml"],
          ["--collect-only"], ["-n", "2"], ["--help"]]  # fmt: skip


@pytest.mark.parametrize("arguments", [*EVERYTHING[:-1], ["-q", "--color=no"]])
def test_what_only_says_how_it_is_shown_is_a_run_of_everything(arguments):
    assert halves.whole(arguments)


@pytest.mark.parametrize("arguments", [*CHOSEN, EVERYTHING[-1]])
def test_whoever_chooses_gets_one_run_of_what_was_asked_for(arguments):
    assert not halves.whole(arguments)


def test_the_stretches_together_are_all_tests():
    folders = {path.name for path in (places.ROOT / "tests").iterdir() if (path / "__init__.py").exists()}
    assert {Path(folder).name for folder in halves.FIRST} < folders
    assert all((places.ROOT / folder).is_dir() for folder in halves.FIRST)


@pytest.fixture
def house(tmp_path, monkeypatch):
    """A checkout with two small sets of tests, and pytest as it is without this project's own settings."""
    monkeypatch.setattr(places, "ROOT", tmp_path)
    monkeypatch.setattr(halves, "FIRST", ("tests/browser",))
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    for name in ("browser", "sizing"):
        (tmp_path / "tests" / name).mkdir(parents=True)
    return tmp_path


def write(house, folder, body):
    (house / "tests" / folder / f"test_{folder}.py").write_text(f"import os\n\ndef test_it():\n    {body}\n")


def surroundings(**more):
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    plain = {"PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "NO_COLOR": "1"}
    return kept | plain | {"DATABASE_URL": "postgres://u:w@127.0.0.1:5000/fleet?sslmode=disable"} | more


def test_both_hands_are_told_in_one_summary_and_end_well(house, tmp_path, capfd):
    write(house, "browser", "assert os.environ['DATABASE_URL'].endswith('/fleet?sslmode=disable')")
    write(house, "sizing", "assert os.environ['DATABASE_URL'].endswith('/fleet_others?sslmode=disable')")
    assert halves.run(["-q"], surroundings(), tmp_path / "scratch") == 0
    said = capfd.readouterr().out
    assert said.count("1 passed") == 4  # each half's own words, then the summary
    assert "Tests of tests/browser: 1 passed" in said and "Tests of all others: 1 passed" in said


@pytest.mark.parametrize(("bad", "good"), [("browser", "sizing"), ("sizing", "browser")])
def test_a_failure_by_either_hand_fails_the_run_and_stands_at_its_end(bad, good, house, tmp_path, capfd):
    write(house, bad, "assert os.environ['PATH'] == 'dry'")
    write(house, good, "pass")
    assert halves.run([], surroundings(), tmp_path / "scratch") == 1
    said = capfd.readouterr().out
    end = said.rsplit("1 of all tests failed:", 1)[1]
    assert f"FAILED tests/{bad}/test_{bad}.py::test_it" in end and "(code 1)" in end


def test_whoever_is_done_first_takes_what_is_waiting_with_its_own_surroundings(house, tmp_path, monkeypatch, capfd):
    monkeypatch.setattr(halves, "FIRST", ("tests/browser", "tests/deploy", "tests/faults"))
    for name in ("deploy", "faults"):
        (house / "tests" / name).mkdir()
        write(house, name, "assert os.environ['DATABASE_URL'].endswith('/fleet_others?sslmode=disable')")
    write(house, "browser", "import time; time.sleep(6)")
    write(house, "sizing", "assert os.environ['DATABASE_URL'].endswith('/fleet_others?sslmode=disable')")
    assert halves.run(["-q"], surroundings(), tmp_path / "scratch") == 0
    said = capfd.readouterr().out
    for name in ("tests/browser", "all others", "tests/deploy", "tests/faults"):
        assert f"Tests of {name}: 1 passed" in said
    assert "all others: 1 passed" in said.split("going on with tests/deploy", 1)[0]


def test_a_stretch_that_finds_no_tests_fails_the_run(house, tmp_path, capfd):
    write(house, "sizing", "pass")
    assert halves.run([], surroundings(), tmp_path / "scratch") == 5
    assert "no tests ran" in capfd.readouterr().out


def test_the_others_write_to_nothing_that_the_first_hand_writes_to(tmp_path):
    compiled = tmp_path / "numba"
    (compiled / "compiled-1").mkdir(parents=True)
    (compiled / "compiled-1" / "pump.nbc").write_text("code")
    env = surroundings(NUMBA_CACHE_DIR=str(compiled), RISING_MAIN_DATA=str(tmp_path / "files"))
    others = halves._of_others(env, tmp_path)
    for name in ("DATABASE_URL", "NUMBA_CACHE_DIR", "RISING_MAIN_DATA"):
        assert others[name] != env[name], name
    assert (Path(others["NUMBA_CACHE_DIR"]) / "compiled-1" / "pump.nbc").read_text() == "code"


@pytest.mark.parametrize("ours", [signal.default_int_handler, signal.SIG_IGN])
def test_a_stretch_that_is_stopped_cleans_up_like_at_ctrl_c_even_where_a_shell_ignores_it(ours, request):
    before = signal.signal(signal.SIGINT, ours)
    request.addfinalizer(lambda: signal.signal(signal.SIGINT, before))
    script = """if True:
        import time
        try:
            print("at work", flush=True)
            time.sleep(60)
        finally:
            print("cleaned up", flush=True)
    """
    stretch = halves.Stretch("it", [sys.executable, "-c", script], dict(os.environ))
    until = threading.Event()
    while "at work" not in stretch.lines:
        until.wait(0.05)
    stretch.stop()
    stretch.reader.join(10)
    assert "cleaned up" in stretch.lines and stretch.process.returncode in {1, -signal.SIGINT}
