"""The lists of exact versions: whole, hashed, and free of any machine's addresses."""

import re
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent.parent


def _plain(name):
    return re.sub(r"[-_.]+", "-", re.match(r"[A-Za-z0-9._-]+", name).group()).lower()


def _locked(name):
    text = (ROOT / "deploy" / name).read_text()
    return {_plain(found): version for found, version in re.findall(r"^([^\s=]+)==(\S+) \\$", text, re.MULTILINE)}


def _wanted(*parts):
    return {_plain(requirement) for part in parts for requirement in part}


PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


def test_every_dependency_is_locked():
    assert _wanted(PROJECT["dependencies"]) <= _locked("requirements.lock").keys()


def test_every_dependency_of_the_tests_is_locked_too():
    wanted = _wanted(PROJECT["dependencies"], PROJECT["optional-dependencies"]["test"])
    assert wanted <= _locked("requirements-test.lock").keys()


def test_the_tests_run_on_the_versions_that_run():
    assert _locked("requirements.lock").items() <= _locked("requirements-test.lock").items()


@pytest.mark.parametrize("name", ["requirements.lock", "requirements-test.lock"])
def test_a_list_holds_names_versions_and_hashes_and_nothing_else(name):
    for line in (ROOT / "deploy" / name).read_text().splitlines():
        assert re.fullmatch(r"[A-Za-z0-9._-]+==\S+ \\|    --hash=sha256:[0-9a-f]{64}( \\)?", line), line
