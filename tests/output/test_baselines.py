"""Baselines are computed when what they rest on changes, and only then."""

import pytest

from fleet.output.models import Baseline
from fleet.output.services import baselines, changed_since
from fleet.registry.models import MonthlyClimate
from fleet.trail.models import Change
from tests.makers.registry import a_static_level, an_installation

pytestmark = pytest.mark.django_db


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


def test_a_baseline_says_what_a_day_gives_and_what_it_rests_on(installation):
    counted = baselines([installation.pk], year=2024)
    kept = Baseline.objects.get()
    assert counted.computed == 1
    assert len(kept.volume_l_day) == len(kept.low_l_day) == len(kept.high_l_day) == 12
    assert all(low < mean < high for low, mean, high in zip(kept.low_l_day, kept.volume_l_day, kept.high_l_day))
    assert all(kinds == sorted(kinds) for kinds in kept.by_kind_l_day)
    assert "default" in kept.climate_source
    assert kept.trouble == ""


def test_nothing_changed_nothing_computed(installation):
    baselines([installation.pk], year=2024)
    first = Baseline.objects.get().computed_at
    assert baselines([installation.pk], year=2024).same == 1
    assert Baseline.objects.get().computed_at == first


def more_modules(installation):
    installation.modules_in_series = 4
    installation.save()


def deeper_water(installation):
    a_static_level(installation.well, 30.0, "2024-05-01")


def longer_run(installation):
    installation.well.tank.pipe_run_m = 400
    installation.well.tank.save()


def other_sheet(installation):
    point = installation.unit.pump_type.points.filter(flow_l_min__gt=0).first()
    point.flow_l_min *= 0.8
    point.save()


def own_sun(installation):
    MonthlyClimate.objects.create(site=installation.well.site, irradiation_kwh_m2_day=[5.0] * 12, source="own station")


def own_days(installation):
    days = [[1.5, 2.5, 3.5, 4.5, 5.5, 6.0, 6.5, 7.0, 8.0]] * 12
    MonthlyClimate.objects.create(
        site=installation.well.site, irradiation_kwh_m2_day=[5.0] * 12, day_irradiation_kwh_m2=days, source="a file"
    )


def a_hill(installation):
    type(installation.well.site).objects.filter(pk=installation.well.site_id).update(skyline=[[90, 30], [180, 0]])


def a_mast(installation):
    type(installation.well.site).objects.filter(pk=installation.well.site_id).update(shade_windows=[[8, 11, 0.9]])


CHANGES = [more_modules, deeper_water, longer_run, other_sheet, own_sun, own_days, a_hill, a_mast]


@pytest.mark.parametrize("change", CHANGES)
def test_each_input_counts_and_the_trail_finds_whom_it_concerns(installation, change):
    other = an_installation(installation.organisation)
    baselines([installation.pk, other.pk], year=2024)
    before = Baseline.objects.get(pk=installation.pk)
    mark = Change.objects.latest("id").pk
    change(installation)
    concerned, _last = changed_since(mark)
    assert concerned == {installation.pk}
    counted = baselines([installation.pk, other.pk], year=2024)
    assert (counted.computed, counted.same) == (1, 1)
    assert Baseline.objects.get(pk=installation.pk).volume_l_day != before.volume_l_day


def test_a_name_is_no_input(installation):
    baselines([installation.pk], year=2024)
    installation.notes = "gate on the east side"
    installation.save()
    assert baselines([installation.pk], year=2024).computed == 0


def test_the_sites_own_sun_is_used_and_named(installation):
    own_sun(installation)
    baselines([installation.pk], year=2024)
    assert "own station" in Baseline.objects.get().climate_source


def test_why_nothing_can_be_computed_is_kept_and_goes_away(installation):
    depth, installation.setting_depth_m = installation.setting_depth_m, 10
    installation.save()
    assert baselines([installation.pk], year=2024).in_trouble == 1
    assert "above the water" in Baseline.objects.in_trouble().get().trouble
    installation.setting_depth_m = depth
    installation.save()
    baselines([installation.pk], year=2024)
    assert Baseline.objects.computed().count() == 1
