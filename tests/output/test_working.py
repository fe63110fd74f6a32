"""The working page: inputs in the trade's words, the day hour by hour, and what a frame that stands wrong costs."""

import re
from datetime import date

import numpy as np
import pytest
from django.utils import translation

from fleet.output import steps
from fleet.output.fleet_arrays import read_fleet
from fleet.output.inputs import INPUTS
from fleet.output.models import Baseline
from fleet.output.services import baselines, working
from fleet.output.services.day_in_hours import day_in_hours, frame_costs
from fleet.registry.models import Site
from sizing import chain
from tests.makers.registry import an_installation
from tests.sizing import invented

MARCH = date(2026, 3, 16)


@pytest.fixture
def one(organisation):
    return an_installation(organisation)


def test_what_went_in_is_told_in_the_trades_words_with_units_and_whose_it_is(one, nadia, client_of):
    page = client_of(nadia).get(f"/output/installations/{one.pk}/working/?day=2026-03-16&sun_kwh_m2=6")
    words = page.content.decode()
    assert page.status_code == 200
    for name in INPUTS:
        assert f">{name}<" not in words, name
    shown = {row.name: row for row in page.context["inputs"]}
    assert set(INPUTS) <= set(shown)
    assert shown["tilt_deg"].shown == f"{one.tilt_deg:.0f} °" and shown["tilt_deg"].owner == "the installation"
    assert shown["soiling_fraction"].shown == "3.0 %" and shown["soiling_fraction"].usual
    assert not shown["tilt_deg"].usual
    assert shown["static_level_m"].shown.endswith(" m")
    for row in shown.values():
        assert row.label in words.replace("&#x27;", "'").replace("&quot;", '"'), row.name


def test_every_column_of_the_fleet_record_has_its_words():
    left_out = set(chain.fleet.COLUMNS) - set(INPUTS)
    assert left_out == {"pump_index"}  # the pump's curve stands on the page of its type


def test_what_hides_the_sun_is_an_input_and_a_step(one):
    def step(found):
        return next(s for s in found["steps"] if s.symbol == "Hi/Hi,open")

    bare = working(one, MARCH, 6.0)
    assert step(bare).value == pytest.approx(1, abs=1e-9) and step(bare).origin == "none recorded"
    Site.objects.filter(pk=one.well.site_id).update(
        skyline=[[60, 20], [120, 20], [150, 0], [30, 0]], shade_windows=[[14, 16, 0.5]]
    )
    one.well.site.refresh_from_db()
    hidden = working(one, MARCH, 6.0)
    assert 0.5 < step(hidden).value < 0.97
    shown = {row.name: row.shown for row in hidden["inputs"]}
    assert shown["skyline"] == "4 points, up to 20°" and shown["shade_windows"] == "14:00-16:00 50%"
    assert sum(hidden["hours"].flow_l_min[5:9]) < sum(bare["hours"].flow_l_min[5:9])


def test_the_day_hour_by_hour_is_that_of_the_chain(one):
    fleet = read_fleet([one.pk], 2026).fleet
    hours = day_in_hours(fleet, 75, 6.0, 30.0)
    assert 5 <= hours.start_h < 11 and 13 < hours.stop_h <= 19
    assert 0 < hours.morning_share < 1
    free = day_in_hours(fleet.with_(tank_capacity_l=np.nan), 75, 6.0, 30.0)
    assert free.morning_share == pytest.approx(0.5, abs=0.05)  # a full tank alone makes an afternoon short
    assert hours.volume_l == pytest.approx(60 * sum(hours.flow_l_min))
    assert hours.first_water_min > 0 and hours.full_main_min == 0
    assert day_in_hours(fleet, 75, 0.2, 30.0).start_h is None  # too dull to lift at all
    assert np.isfinite(day_in_hours(fleet.with_(latitude_deg=60.0), 350, 12.0, 30.0).flow_l_min).all()  # no such day


def test_a_small_tank_stops_the_pump_and_a_dry_well_holds_it(one):
    fleet = read_fleet([one.pk], 2026).fleet
    free = day_in_hours(fleet.with_(tank_capacity_l=np.nan), 75, 6.0, 30.0)
    assert free.tank_l is None and free.full_h == 0 and not free.drawn
    small = day_in_hours(fleet.with_(tank_capacity_l=300.0, float_switch=True, need_l_day=400.0), 75, 6.0, 30.0)
    assert small.full_h > 1 and small.volume_l < free.volume_l and max(small.tank_l) <= 300
    thirsty = day_in_hours(fleet.with_(need_l_day=40_000.0), 75, 6.0, 30.0)
    assert thirsty.short_l > 0
    level = float(fleet.static_level_m[0, 2])
    poor = fleet.with_(setting_depth_m=level + 2.0, drawdown_b_m_per_l_min=1.0, tank_capacity_l=np.nan)
    held = day_in_hours(poor, 75, 6.0, 30.0)
    assert held.dry_h > 1 and max(held.flow_l_min) == pytest.approx(1.5, abs=0.01)  # 0.5 m stays above


def test_a_frame_turned_away_costs_water_and_the_page_says_it_by_month(one, nadia, client_of):
    found = working(one, MARCH, 6.0)["frame_costs"]
    turned = {cost.error_deg: cost for cost in found if cost.kind == "azimuth"}
    assert list(turned) == [10, 20, 30, 45, 90]
    assert all(len(cost.by_month_l) == 12 for cost in found)
    assert abs(turned[10].by_year) < abs(turned[90].by_year) or turned[90].by_year == pytest.approx(0, abs=0.05)
    assert {cost.error_deg for cost in found if cost.kind == "tilt"} <= {-10, 10, 20}
    page = client_of(nadia).get(f"/output/installations/{one.pk}/working/").content.decode()
    assert "turned by 90°" in page and "too steep" in page
    fleet = read_fleet([one.pk], 2026).fleet
    assert frame_costs(fleet, np.full((12, 9), np.nan)) == []


# What a step may hold beside words of the catalogue: signs, figures and names of publications.
PUBLISHED = (
    "Astronomical Almanac", "FAO-56, eq. 34", "FAO-56, eq. 35", "Duffie & Beckman, sec. 1.10",
    "Erbs, Klein & Duffie 1982", "Hay & Davies 1980; Collares-Pereira & Rabl 1979; De Soto et al. 2006", "Jacob 1947",
    "Darcy-Weisbach; Colebrook 1939",
)  # fmt: skip


@pytest.mark.parametrize("coupling", ["tracking", "direct"])
def test_every_word_of_a_step_stands_in_the_catalogue_of_words(coupling):
    fleet = invented.fleet(invented.row(coupling=coupling))
    every = [
        *chain.working(fleet, 80, 5.0),
        *chain.working(fleet, 80, 5.0, air_c=25.0, static_level_m=20.0, assumed=tuple(chain.DEFAULTS)),
        *chain.working(fleet.with_(skyline_deg=np.full(72, 3.0)), 80, 5.0),
        *chain.working(fleet, 80, 5.0, faults=chain.Faults(series_resistance_ohm=1.0)),
    ]
    for step in every:
        assert step.stage in steps.STAGES
        assert step.name in steps.WORDS, step
        for text in (step.source, step.origin, *([step.value] if isinstance(step.value, str) else [])):
            parts = [text] if text in steps.WORDS else [w for c in text.split(", ") for w in c.split(": ")]
            for part in parts:
                known = part in steps.WORDS or text in PUBLISHED or len(part) <= 6
                assert known, (step.name, part)
        assert not re.search(r"[a-z]{4,}", step.formula.replace("arccos", "").replace("open", "")), step
    assert set(chain.STATES) <= steps.WORDS


@pytest.mark.parametrize(("language", "words"), [("fr", "hauteur totale"), ("sw", "jumla ya kichwa cha maji")])
def test_the_steps_are_told_in_the_reader_s_language(one, nadia, client_of, in_language, language, words):
    in_language(language)
    nadia.language = language
    nadia.save()
    page = client_of(nadia).get(f"/output/installations/{one.pk}/working/?day=2026-03-16&sun_kwh_m2=6")
    told = page.content.decode()
    assert words in told and "total head" not in told and "recorded" not in told
    assert told.count("<summary>") >= 6  # folded by stage
    names = [step.name for step in page.context["steps"]]
    with translation.override("en"):
        english = [step.name for step in working(one, MARCH, 6.0)["steps"]]
    assert not set(names) & set(english) - {"air", "friction", "NOCT", "latitude"}


def test_the_range_is_told_with_what_it_is_made_of(one, nadia, client_of):
    baselines([one.pk])
    kept = Baseline.objects.get(pk=one.pk)
    for month in range(12):
        parts = [kept.range_l_day[name][month] for name in ("climate", "model", "instrument")]
        assert all(part > 0 for part in parts)
        half = kept.high_l_day[month] - kept.volume_l_day[month]
        assert half == pytest.approx(np.sqrt(np.square(parts).sum()), abs=0.3)
    client = client_of(nadia)
    page = client.get(f"/output/installations/{one.pk}/working/?day=2026-03-16").content.decode()
    assert "what its range is made of" in page and "the climate: how much sun a month of that name brings" in page
    record = client.get(f"/api/v1/baselines/{one.pk}/").json()
    assert record["range_l_day"] == kept.range_l_day
    told = client.get(f"/api/v1/installations/{one.pk}/working/?sun_kwh_m2=6").json()["steps"]
    by = {step["symbol"]: step for step in told}
    half = by["V90"]["value"] - by["V"]["value"]
    assert half == pytest.approx(np.sqrt(sum(by[sign]["value"] ** 2 for sign in ("±c", "±m", "±i"))))
    assert {by[sign]["stage"] for sign in ("±c", "±m", "±i", "V10")} == {"range"}
