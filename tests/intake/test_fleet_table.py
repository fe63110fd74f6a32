"""The whole fleet as one wide table: what is new, what has changed, what stays, and what it may not do."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.intake import services
from fleet.registry.models import Installation, Pipe, PumpType, Site, StaticLevel, Tank, Unit, UnitPoint, Well
from fleet.registry.tables.keeping import stored
from fleet.trail.models import Change
from tests.intake.made import KINDS, as_csv, sound
from tests.makers.registry import START, a_module_type, a_pump_type, an_installation


@pytest.fixture
def bring(organisation, tmp_path):
    a_pump_type(organisation, name="Brook 80")
    a_module_type(organisation, name="Plain 150")

    def brought(rows, word="good", kind="csv", mapping=None):
        path = tmp_path / f"fleet.{kind}"
        path.write_bytes(rows if isinstance(rows, bytes) else KINDS[kind](rows))
        return services.bring_in_file(table="fleet", path=path, organisation=organisation, word=word, mapping=mapping)

    return brought


def counts(outcome):
    return outcome.new, outcome.changed, outcome.same, outcome.rejected


def said(outcome):
    return [(f.line, f.column, f.sentence) for f in outcome.faults]


@pytest.mark.parametrize("kind", KINDS)
def test_a_row_becomes_site_well_tank_unit_and_installation_and_twice_is_once(bring, kind, organisation):
    rows = [sound(1), sound(2)]
    assert counts(bring(rows, kind=kind)) == (2, 0, 0, 0)
    changes = Change.objects.count()
    assert counts(bring(rows, kind=kind)) == (0, 0, 2, 0)
    assert Change.objects.count() == changes
    hanging = Installation.objects.select_related("well__site__district", "well__tank", "unit", "pipe").get(
        unit__serial="RM-2"
    )
    assert (hanging.well.site.code, hanging.well.site.district.name, hanging.well.site.zone) == (
        "NK-2", "Upper Nakwara", "Africa/Nairobi",
    )  # fmt: skip
    assert (hanging.well.tank.rise_m, hanging.pipe.outside_mm, hanging.unit.status) == (5, 32, "installed")
    assert hanging.period.upper is None and str(hanging.commissioned_on) == "2024-03-01"
    assert Pipe.objects.count() == 1  # added to the catalogue once for all rows


def test_a_changed_cell_changes_that_one_field_and_an_empty_cell_leaves_what_is_there(bring):
    bring([sound(1), sound(2)])
    changes = Change.objects.count()
    outcome = bring([sound(1, caretaker_name="Amina Ole", village=""), sound(2)])
    assert counts(outcome) == (0, 1, 1, 0)
    site = Site.objects.get(code="NK-1")
    assert (site.caretaker_name, site.village) == ("Amina Ole", "Nakwara")
    change = Change.objects.order_by("-id")[0]
    assert Change.objects.count() == changes + 1
    assert (change.before, change.after) == ({"caretaker_name": ""}, {"caretaker_name": "Amina Ole"})


def test_two_wells_of_one_site_in_one_file(bring):
    outcome = bring([sound(1, well_name="1"), sound(2, site_code="NK-1", latitude_deg="3.1210", well_name="2")])
    assert counts(outcome) == (2, 0, 0, 0)
    site = Site.objects.get()
    assert sorted(site.wells.values_list("name", flat=True)) == ["1", "2"]
    assert site.search.endswith("rm-1 rm-2")  # found by both serials


def test_two_units_in_one_well_and_one_unit_in_two_are_refused_by_row_with_the_way_out(bring):
    outcome = bring([
        sound(1), sound(2, site_code="NK-1", latitude_deg="3.1210"), sound(1, site_code="NK-9"),
    ])  # fmt: skip
    assert counts(outcome) == (1, 0, 0, 2)
    assert said(outcome) == [
        (3, "site_code", "Unit RM-1 hangs in this well. Take it out on its page first, or name another well."),
        (4, "serial", "Line 2 of this file says the same one already. Keep one of them."),
    ]
    outcome = bring([sound(1, site_code="NK-9")])
    assert said(outcome) == [
        (2, "serial", f"This unit hangs in {Well.objects.get()} then. Relocate it on its page, or give the day it was "
                      "taken out."),
    ]  # fmt: skip
    assert not Site.objects.filter(code="NK-9").exists()  # a row with a fault leaves nothing behind


def test_what_hangs_elsewhere_is_named_without_asking_for_each_row(bring, organisation):
    rows = [sound(n) for n in range(1, 41)]
    bring(rows)
    swapped = [row | {"site_code": f"NK-{n + 100}"} for n, row in enumerate(rows)]

    def asked(some):
        with CaptureQueriesContext(connection) as queries:
            outcome = bring(some)
        assert outcome.rejected == len(some)
        return len(queries)

    assert asked(swapped[:3]) == asked(swapped)


def test_queries_do_not_grow_with_the_rows(bring):
    def asked(first, last, changed):
        rows = [sound(n) for n in range(first, last)]
        with CaptureQueriesContext(connection) as fresh:
            bring(rows)
        with CaptureQueriesContext(connection) as again:
            bring([row | changed for row in rows])
        return len(fresh), len(again)

    bring([sound(0)])  # district, pipe and cable are there
    few = asked(1, 4, {"village": "Lokori"})
    many = asked(10, 90, {"village": "Kerio"})
    assert few == many


def test_a_row_that_only_the_database_can_refuse_is_found_and_the_others_stay(bring, organisation):
    rows = [sound(n) for n in range(1, 8)]
    rows[3]["batch"] = "B" * 40
    with connection.cursor() as cursor:
        cursor.execute("ALTER TABLE registry_unit ADD CONSTRAINT no_such_batch CHECK (batch <> repeat('B', 40))")
    outcome = bring(rows)
    assert counts(outcome) == (6, 0, 0, 1)
    [(line, _column, sentence)] = said(outcome)
    assert line == 5 and "no_such_batch" in sentence
    assert Site.objects.count() == 6
    assert counts(bring(rows)) == (0, 0, 6, 1)


def test_what_a_cell_was_read_as_is_remembered_for_its_own_column_only(bring):
    """The same text is a village, a figure and a serial; the fault of one column stays with it."""
    rows = [sound(n, village="150", well_name="150", people_served="150") for n in range(1, 4)]
    rows.append(sound(4, people_served="many"))
    rows.append(sound(5, people_served="many", village="many"))
    outcome = bring(rows)
    assert counts(outcome) == (3, 0, 0, 2)
    assert [(line, column) for line, column, _s in said(outcome)] == [(5, "people_served"), (6, "people_served")]
    well = Well.objects.select_related("site").first()
    assert (well.name, well.site.village, well.site.people_served) == ("150", "150", 150)


def test_warnings_of_the_trade_keep_the_row_and_say_where(bring):
    outcome = bring([sound(1, rope_length_m="39"), sound(2)])
    assert counts(outcome) == (2, 0, 0, 0) and outcome.warned == 1
    [(line, column, sentence)] = said(outcome)
    assert (line, column) == (2, "rope_length_m") and "second hold" in sentence


def test_stored_rows_are_as_the_mapper_gives_them(organisation):
    hanging = an_installation(organisation)
    site = hanging.well.site
    Site.objects.filter(pk=site.pk).update(need_m3_day=[1.5] * 12)
    for model in (Site, Well, Tank, StaticLevel, Unit, UnitPoint, Installation, PumpType):
        for thing in model.objects.all():
            [found] = stored(model, "t.id", [thing.pk])
            values = {f.attname: getattr(found, f.attname) for f in model._meta.concrete_fields}
            assert values == {f.attname: getattr(thing, f.attname) for f in model._meta.concrete_fields}
            assert found == thing and not found._state.adding
    [found] = stored(Installation, "t.id", [hanging.pk])
    assert found.well.site.code == site.code and found.period.lower == START
    found.notes = "seen"
    found.save()  # an update, not another row
    assert Installation.objects.get().notes == "seen"


def test_a_file_with_half_a_row_and_a_row_too_long(bring):
    text = as_csv([sound(1), sound(2), sound(3)]).decode().splitlines()
    text[2] = ",".join(text[2].split(",")[:8])
    text[3] += ",and more"
    outcome = bring("\n".join(text).encode())
    assert counts(outcome) == (1, 0, 0, 2)
    assert said(outcome)[1][0] == 4 and "more cells than the heads" in said(outcome)[1][2]
