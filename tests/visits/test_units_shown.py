"""What was recorded is read in the units that the reader likes; what is kept stays metres and litres a minute."""

import pytest
from django.urls import reverse

from fleet.visits import services
from tests.makers.registry import an_installation
from tests.makers.visits import SPOT_READINGS, a_visit_under_way


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return a_visit_under_way(an_installation(organisation), idris, kind="commissioning")


@pytest.fixture
def inspection(idris, organisation):
    services.set_up(organisation)
    return a_visit_under_way(an_installation(organisation), idris)


def record(visit, code, values):
    step = next(s for s in visit.procedure.steps if s["code"] == code)
    services.record_step(
        visit=visit, step=code, by=visit.technician, cautions_seen=step["cautions"], values=values, whole=False
    )


def likes(person, flow_unit, length_unit):
    person.flow_unit, person.length_unit = flow_unit, length_unit
    person.save()
    return person


def page_of(client_of, person, visit):
    return client_of(person).get(f"/visits/{visit.key}/").content.decode().replace("\u00a0", " ")


def test_levels_and_flows_of_a_visit_s_page_follow_the_reader(visit, nadia, client_of):
    record(visit, "static_level", {"static_level_m": "22.5", "rested_h": 12})
    spot = next(s["code"] for s in visit.procedure.steps if any(c["kind"] == "spot" for c in s["captures"]))
    record(visit, spot, {"spot": {**SPOT_READINGS, "pumping_level_m": 24, "flow_l_min": 14}})
    page = page_of(client_of, likes(nadia, "l_min", "m"), visit)
    for words in ("22.5 m", "24 m", "14.0 L/min", "12 h"):
        assert words in page, words
    page = page_of(client_of, likes(nadia, "m3_h", "ft"), visit)
    for words in ("73.82 ft", "78.74 ft", "0.84 m³/h", "12 h"):
        assert words in page, words
    assert "L/min" not in page and "22.5 m" not in page
    assert services.current_records(visit)["static_level"].values["static_level_m"] == 22.5


def test_where_the_water_is_lost_is_told_in_the_reader_s_unit(inspection, nadia, client_of):
    record(inspection, "spot_test", {"spot": {**SPOT_READINGS, "repeats": [{"litres": 20, "seconds": 240}] * 3}})
    page = page_of(client_of, likes(nadia, "m3_h", "m"), inspection)
    assert "Where the water is lost" in page
    assert "0.30 m³/h" in page and "L/min" not in page


def test_a_meter_s_long_total_is_written_out(inspection, nadia, client_of):
    record(inspection, "meter", {"meter_total_l": 12345678, "tank": "part", "running": "running", "sky": "clear"})
    page = page_of(client_of, nadia, inspection)
    assert "12,345,678 L" in page.replace("\u202f", ",")
    assert "part full" in page, "a choice is told by its words"


def test_both_sides_of_a_conflict_are_told_in_the_reader_s_unit(visit, nadia):
    step = next(s for s in visit.procedure.steps if s["code"] == "static_level")
    words = services.readable(step, {"static_level_m": "22.5", "rested_h": 3}, likes(nadia, "m3_h", "ft"))
    assert words["static_level_m"].replace("\u00a0", " ") == "73.82 ft"


def test_what_a_well_can_bear_is_told_in_the_reader_s_unit(visit, nadia, client_of):
    well = visit.installation.well
    well.specific_capacity_m3_h_m, well.safe_yield_m3_h = 1.2, 3.0
    well.save()
    page = reverse("registry:site", args=[visit.site.code])
    said = client_of(likes(nadia, "l_min", "ft")).get(page, follow=True).content.decode().replace("\u00a0", " ")
    assert "50.0 L/min" in said and "6.1 L/min per ft" in said
    said = client_of(likes(nadia, "m3_h", "m")).get(page, follow=True).content.decode().replace("\u00a0", " ")
    assert "3.00 m³/h" in said and "1.20 m³/h per m" in said
