"""Rows of the registry as the fleet record."""

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.output.fleet_arrays import read_fleet
from fleet.registry.models import Installation, Site
from sizing import sky
from sizing.chain.fleet import COLUMNS
from tests.makers import sample_fleet
from tests.makers.registry import a_pump_type, a_static_level, a_unit, a_well, an_installation
from tests.makers.sample_fleet_rows import sample_registry

pytestmark = pytest.mark.django_db


def test_every_column_agrees_with_the_fleet_made_row_by_row():
    serials = [row["serial"] for row in sample_fleet.rows()][::6]
    sample_registry(only=set(serials))
    pks = dict(Installation.objects.values_list("unit__serial", "pk"))
    ours = read_fleet(pks.values(), 2023)
    every = sample_fleet.rows()
    place = {row["serial"]: n for n, row in enumerate(every)}
    by_pk = {pk: serial for serial, pk in pks.items()}
    theirs = sample_fleet.fleet().fleet.take([place[by_pk[pk]] for pk in ours.ids.tolist()])
    assert len(ours) == len(serials)
    for name in COLUMNS:
        if name in ("pump_index", "age_y"):
            continue
        np.testing.assert_allclose(getattr(ours.fleet, name), getattr(theirs, name), rtol=1e-9, err_msg=name)
    names = [[pump.name for pump in fleet.pumps] for fleet in (ours.fleet, theirs)]
    assert [names[0][n] for n in ours.fleet.pump_index] == [names[1][n] for n in theirs.pump_index]


def test_levels_of_some_months_are_bridged_around_the_year(organisation):
    from datetime import date

    well = a_well(organisation=organisation, level_m=None)
    a_static_level(well, 20.0, date(2024, 4, 15))
    a_static_level(well, 26.0, date(2024, 10, 15))
    a_static_level(well, 99.0, date(2012, 7, 15))  # too long ago
    levels = read_fleet([an_installation(well=well).pk], 2024).fleet.static_level_m[0]
    assert levels[3] == 20.0
    assert levels[9] == 26.0
    assert levels[6] == pytest.approx(23.0, abs=0.1)
    assert levels[0] == pytest.approx(23.0, abs=0.1)


def test_the_units_own_test_scales_the_curve(organisation):
    kind = a_pump_type(organisation)
    point = kind.points.order_by("power_w").filter(head_m=20).last()
    units = [
        a_unit(organisation, pump_type=kind, points=[(20, point.power_w, point.flow_l_min * share)])
        for share in (0.95, 1.0)
    ]
    scale = read_fleet([an_installation(unit=unit).pk for unit in units], 2024).fleet.flow_scale
    assert scale[0] / scale[1] == pytest.approx(0.95, rel=1e-6)


def test_a_sites_skyline_reaches_the_calculation_and_its_hash(organisation):
    bare, hilly = an_installation(organisation), an_installation(organisation)
    ids = [bare.pk, hilly.pk]
    before = read_fleet(ids, 2024)
    assert before.fleet.skyline_deg is None
    pairs = [[90.0, 25.0], [180.0, 0.0]]
    Site.objects.filter(pk=hilly.well.site_id).update(skyline=pairs)
    after = read_fleet(ids, 2024)
    np.testing.assert_allclose(after.fleet.skyline_deg, [np.zeros(72), sky.ring(pairs)])
    assert after.hashes()[1] != before.hashes()[1]
    assert after.hashes()[0] == before.hashes()[0]  # a hill elsewhere is none of the bare one's business


def test_a_sites_windows_of_shade_reach_the_calculation_and_its_hash(organisation):
    bare, shaded = an_installation(organisation), an_installation(organisation)
    ids = [bare.pk, shaded.pk]
    before = read_fleet(ids, 2024)
    windows = [[7.5, 9.5, 0.8]]
    Site.objects.filter(pk=shaded.well.site_id).update(shade_windows=windows)
    after = read_fleet(ids, 2024)
    np.testing.assert_allclose(after.fleet.shade_left, [np.ones(24), sky.shade_windows(windows)])
    assert after.hashes()[1] != before.hashes()[1] and after.hashes()[0] == before.hashes()[0]
    assert read_fleet([shaded.pk], 2024).hashes() == after.hashes()[1:]


REASONS = [  # what is missing or wrong, a word of the reason
    ({"module_type": None}, "module type"),
    ({"cable": None}, "cable"),
    ({"pipe": None}, "pipe"),
    ({"setting_depth_m": 12}, "above the water"),
    ({"cable_length_m": 5000}, "cable_length_m"),
]


@pytest.mark.parametrize(("change", "word"), REASONS)
def test_what_cannot_be_computed_is_left_out_with_its_reason(organisation, change, word):
    sound, wanting = an_installation(organisation), an_installation(organisation, **change)
    rows = read_fleet([sound.pk, wanting.pk], 2024)
    assert rows.ids.tolist() == [sound.pk]
    assert word in rows.trouble[wanting.pk]


def test_no_level_and_no_points_are_named(organisation):
    no_level = an_installation(organisation, well=a_well(organisation=organisation, level_m=None))
    no_points = an_installation(organisation, unit=a_unit(pump_type=a_pump_type(organisation, points=False)))
    trouble = read_fleet([no_level.pk, no_points.pk], 2024).trouble
    assert "static level" in trouble[no_level.pk]
    assert "points" in trouble[no_points.pk]


def test_three_cost_as_many_queries_as_thirty(organisation):
    pks = [an_installation(organisation).pk for _ in range(30)]
    counts = []
    for some in (pks[:3], pks):
        with CaptureQueriesContext(
            connection,
        ) as queries:
            read_fleet(some, 2024)
        counts.append(len(queries))
    assert counts[0] == counts[1]
