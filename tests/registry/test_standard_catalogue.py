"""Standard pipes and cables by a command."""

import pytest
from django.core.management import CommandError, call_command

from fleet.registry.models import Cable, ModuleType, Pipe, PumpType
from fleet.trail.models import Change
from sizing.cable import ohm_per_km
from sizing.head import inside_diameter
from tests.makers.people import an_organisation
from tests.makers.registry import a_pipe


def test_standard_sizes_are_added_once_and_nothing_else(organisation, capsys):
    own = a_pipe(organisation, name="PE 32 x 3.0", outside_mm=32, wall_mm=3.0, pressure_bar=12.5)
    call_command("standard_catalogue")
    assert capsys.readouterr().out == "32 pipes and 8 cables were added to the catalogue of Mbega Water Trust.\n"
    own.refresh_from_db()
    assert own.pressure_bar == 12.5  # what stood there stays as it is
    assert not PumpType.objects.exists() and not ModuleType.objects.exists()
    assert Change.objects.filter(via="standard_catalogue").count() == 40
    call_command("standard_catalogue")
    assert capsys.readouterr().out.startswith("0 pipes and 0 cables")
    assert (Pipe.objects.count(), Cable.objects.count()) == (33, 8)


def test_the_sizes_are_those_that_the_engineering_reckons_with(organisation):
    call_command("standard_catalogue", verbosity=0)
    for pipe in Pipe.objects.all():
        ratio = {10: 17, 12.5: 13.6, 16: 11, 20: 9}[pipe.pressure_bar]
        assert pipe.inside_mm == pytest.approx(inside_diameter(pipe.outside_mm, ratio))
    for cable in Cable.objects.all():
        assert ohm_per_km(cable.area_mm2, cable.conductor_class) > 0


def test_which_organisation_is_asked(organisation):
    an_organisation(name="Another")
    with pytest.raises(CommandError, match="--organisation NAME"):
        call_command("standard_catalogue")
    with pytest.raises(CommandError, match="no organisation “Nobody”"):
        call_command("standard_catalogue", organisation="Nobody")
    call_command("standard_catalogue", organisation="Another")
    assert not Pipe.objects.filter(organisation=organisation).exists()
