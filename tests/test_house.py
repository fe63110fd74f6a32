"""The house stands as drawn: imports run one way, no migration is missing, the code is tidy."""

import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import call_command

ROOT = Path(__file__).resolve().parent.parent


def _run(*command):
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False)


def test_imports_keep_the_contracts():
    found = _run(sys.executable, "-W", "ignore", "-c", "from importlinter.cli import lint_imports_command as c; c()")
    assert found.returncode == 0, found.stdout + found.stderr


def test_a_room_that_reaches_up_is_found(tmp_path):
    """The contracts do bite: a copy of the house with one import upwards is refused."""
    for folder in ("fleet", "sizing", "deploy"):
        for source in (ROOT / folder).rglob("*.py"):
            target = tmp_path / source.relative_to(ROOT)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(source.read_text())
    (tmp_path / "pyproject.toml").write_text((ROOT / "pyproject.toml").read_text())
    with (tmp_path / "fleet" / "registry" / "models" / "units.py").open("a") as units:
        units.write("\nimport fleet.visits.models\n")
    command = (sys.executable, "-W", "ignore", "-c", "from importlinter.cli import lint_imports_command as c; c()")
    found = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=300, check=False)
    assert found.returncode != 0
    assert "fleet.registry is not allowed to import fleet.visits" in found.stdout


def test_the_code_is_tidy():
    found = _run(sys.executable, "-m", "ruff", "check", "--no-cache", ".")
    assert found.returncode == 0, found.stdout


@pytest.mark.django_db
def test_no_migration_is_missing(capsys):
    try:
        call_command("makemigrations", check=True, dry_run=True)
    except SystemExit:
        pytest.fail(f"models and migrations differ: {capsys.readouterr().out}", pytrace=False)


@pytest.mark.django_db
def test_django_finds_nothing_to_complain_about():
    call_command("check", fail_level="WARNING")


def test_the_cast_is_one_organisation_and_otto_another(nadia, idris, wanja, amara, otto):
    assert {p.organisation.name for p in (nadia, idris, wanja, amara)} == {"Mbega Water Trust"}
    assert otto.organisation != nadia.organisation
    assert [p.role for p in (nadia, idris, wanja, amara)] == [
        "coordinator", "technician", "manager", "administrator",
    ]  # fmt: skip
