"""The sizing page and the page of a place's sun: what fits and why, on the page, on paper, and refused by name."""

import re
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.utils import translation
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext

from fleet.registry.engineering import choice, reasons, sunlight
from sizing.choose import REASONS
from tests.makers.registry import a_module_type, a_pump_type, a_site, a_well
from tests.sizing.test_climate import LATITUDE, LONGITUDE, epw, expected_month, invented_year

SURVEY = {
    "latitude_deg": 3.2, "longitude_deg": 35.7, "static_level_m": 22, "rise_m": 5, "distance_m": 40,
    "need_l_day": 4000, "well_inside_mm": 150, "specific_capacity_m3_h_m": 1.2,
}  # fmt: skip


@pytest.fixture
def catalogue(organisation):
    return a_pump_type(organisation), a_module_type(organisation)


def test_a_survey_finds_the_pump_that_fits_with_its_reasons(catalogue, organisation):
    pump, _module = catalogue
    answer, left_out = choice.answer_survey(organisation=organisation, **SURVEY)
    best = choice.rows(answer)[0]
    assert best["fits"] and best["pump"] == pump.name and not left_out
    assert best["litres_day"][best["worst_month"] - 1] >= 4000
    assert any(str(round(best["setting_depth_m"], 1)) in check["sentence"] for check in best["checks"])


def test_a_well_too_narrow_is_told_with_both_diameters(catalogue, organisation):
    pump, _module = catalogue
    pump.outside_diameter_mm = 96
    pump.save()
    answer, _left_out = choice.answer_survey(organisation=organisation, **SURVEY | {"well_inside_mm": 90})
    row = choice.rows(answer)[0]
    assert not row["fits"]
    assert any("96 mm" in check["sentence"] and "90 mm" in check["sentence"] for check in row["checks"])


def test_a_pump_with_two_points_is_left_out_by_name_and_the_others_stay(catalogue, organisation):
    poor = a_pump_type(organisation, points=False, name="Poor sheet")
    poor.points.create(head_m=10, power_w=100, flow_l_min=5)
    _answer, left_out = choice.answer_survey(organisation=organisation, **SURVEY)
    assert list(left_out) == ["Poor sheet"]


def test_the_page_answers_prints_and_keeps_what_was_asked(catalogue, nadia, client_of):
    client = client_of(nadia)
    assert client.get("/sizing/").status_code == 200
    page = client.get("/sizing/", SURVEY)
    assert page.status_code == 200
    assert catalogue[0].name in page.content.decode() and 'value="3.2"' in page.content.decode()
    assert client.get("/sizing/sheet.pdf", SURVEY).content.startswith(b"%PDF")


def test_wrong_figures_are_refused_in_place_and_the_rest_is_kept(catalogue, nadia, client_of):
    page = client_of(nadia).get("/sizing/", SURVEY | {"static_level_m": "-4", "need_by_month": "1 2 3"})
    assert page.status_code == 422
    assert {"static_level_m", "need_by_month"} <= set(page.context["form"].errors)
    too_deep = client_of(nadia).get("/sizing/", SURVEY | {"well_depth_m": 20})
    assert too_deep.status_code == 422 and "well_depth_m" in too_deep.context["form"].errors


def test_an_empty_catalogue_says_what_to_enter(nadia, client_of):
    page = client_of(nadia).get("/sizing/", SURVEY)
    assert page.status_code == 422 and "catalogue" in page.content.decode()


def test_a_site_fills_in_what_the_registry_knows(catalogue, organisation, nadia, otto, client_of):
    site = a_site(organisation)
    a_well(site, level_m=22.0)
    page = client_of(nadia).get("/sizing/", {"site": site.code})
    assert page.context["form"].initial["static_level_m"] == 22.0
    assert page.context["form"].initial["need_l_day"] == 5000
    assert client_of(otto).get("/sizing/", {"site": site.code}).status_code == 404


def test_the_sun_of_a_site_is_shown_to_its_own_people(organisation, idris, otto, client_of):
    site = a_site(organisation)
    page = client_of(idris).get(f"/sites/{site.code}/sun/")
    assert page.status_code == 200
    words = page.content.decode()
    assert "solar noon today" in words and "What an error costs" in words
    assert client_of(otto).get(f"/sites/{site.code}/sun/").status_code == 404


def test_where_the_default_sun_is_not_known_the_page_says_so(organisation, idris, client_of):
    site = a_site(organisation, latitude_deg=-21.2, longitude_deg=-175.2, zone="Pacific/Tongatapu")
    page = client_of(idris).get(f"/sites/{site.code}/sun/")
    assert page.status_code == 200 and "does not know this place" in page.content.decode()


# -- by the API, and from a weather file -------------------------------------------------------------------------------


def test_the_api_chooses_as_the_page_does(catalogue, nadia, api_of, organisation):
    got = api_of(nadia).post("/api/v1/sizing/", SURVEY | {"need_l_day": [4000]}, format="json")
    assert got.status_code == 200, got.json()
    answer, _left_out = choice.answer_survey(organisation=organisation, **SURVEY)
    body = got.json()
    assert [(row["pump"], row["fits"]) for row in body["choices"]] == [(c.pump, c.fits) for c in answer.choices]
    assert body["choices"][0]["litres_day"] == pytest.approx(answer.choices[0].litres_day.tolist())
    assert "8 %" in body["climate_source"] and 0.1 < body["climate_sigma"] < 0.3


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"latitude_deg": 95}, "latitude_deg"), ({"need_l_day": [1, 2]}, "need_l_day"), ({"rise_m": "x"}, "rise_m"),
        ({"static_level_m": None}, "static_level_m"), ({"order": "luck"}, "order"),
        ({"well_depth_m": 20}, "well_depth_m"),
    ],
)  # fmt: skip
def test_the_api_refuses_by_field_what_the_page_refuses(catalogue, nadia, api_of, change, field):
    got = api_of(nadia).post("/api/v1/sizing/", SURVEY | {"need_l_day": [4000]} | change, format="json")
    assert got.status_code in (400, 409)
    assert field in [error["field"].split(".")[0] for error in got.json()["errors"]]


def test_another_organisations_site_is_not_found_by_the_api(catalogue, nadia, otto, api_of):
    theirs = a_site(otto.organisation)
    asked = SURVEY | {"need_l_day": [4000], "site": theirs.code}
    assert api_of(nadia).post("/api/v1/sizing/", asked, format="json").status_code == 404


def test_a_weather_file_becomes_the_sites_own_sun(nadia, client_of, organisation):
    from django.core.files.uploadedfile import SimpleUploadedFile

    site = a_site(organisation, latitude_deg=LATITUDE, longitude_deg=LONGITUDE)
    address, client = f"/sites/{site.code}/climate/", client_of(nadia)
    sent = {"weather_file": SimpleUploadedFile("year.epw", epw().encode()), "weather_kind": "epw"}
    assert client.post(address, sent).status_code == 302
    own = site.__class__.objects.get(pk=site.pk).climate
    assert own.irradiation_kwh_m2_day[0] == pytest.approx(expected_month(15, 16) / 31, rel=0.01)
    assert "year.epw" in own.source and len(own.air_c) == 12
    assert choice.climate_at(LATITUDE, LONGITUDE, 0, site).ghi_kwh_m2_day[0] == own.irradiation_kwh_m2_day[0]
    _, ghi, _ = invented_year()
    dull, bright = np.sort(ghi.reshape(365, 24).sum(axis=1)[:2]) / 1000  # the invented days are of two kinds
    kinds = np.array(own.day_irradiation_kwh_m2)
    assert kinds.shape == (12, 9) and (np.diff(kinds, axis=1) >= 0).all()
    assert kinds[0, 0] == pytest.approx(dull, rel=0.01) and kinds[0, -1] == pytest.approx(bright, rel=0.01)
    used = choice.climate_at(LATITUDE, LONGITUDE, 0, site).day_ghi_kwh_m2_day
    assert used == pytest.approx(kinds, rel=0.01)
    # the same twelve months with another source keep their days; other months take those of the surroundings
    months = " ".join(map(str, own.irradiation_kwh_m2_day))
    client.post(address, {"irradiation_kwh_m2_day": months, "source": "the file of the school"})
    own.refresh_from_db()
    assert own.day_irradiation_kwh_m2 == kinds.tolist() and own.source == "the file of the school"
    client.post(address, {"irradiation_kwh_m2_day": "5", "source": "a guess"})
    client.post(address, {"irradiation_kwh_m2_day": " ".join(["5"] * 12), "source": "a guess"})
    own.refresh_from_db()
    assert own.day_irradiation_kwh_m2 == [] and own.irradiation_kwh_m2_day == [5] * 12


def test_kinds_of_day_go_in_by_the_api_and_must_be_those_of_their_months(nadia, api_of, organisation):
    site = a_site(organisation)
    days = [[2.0, 3, 4, 5, 5, 5, 6, 7, 8]] * 12
    sent = {"irradiation_kwh_m2_day": [5] * 12, "day_irradiation_kwh_m2": days, "source": "own sensor"}
    address = f"/api/v1/sites/{site.code}/climate/"
    got = api_of(nadia).put(address, sent, format="json")
    assert got.status_code == 200 and got.json()["climate"]["day_irradiation_kwh_m2"] == days
    for wrong in ([[1.0] * 9] * 12, days[:11]):
        refused = api_of(nadia).put(address, sent | {"day_irradiation_kwh_m2": wrong}, format="json")
        assert refused.status_code == 409
        assert refused.json()["errors"][0]["field"] == "day_irradiation_kwh_m2"


FAULTS = [  # content, kind, a word of the sentence
    (b"nothing of the kind", "epw", "not readable as epw"),
    (b"", "", "what kind"),
]


@pytest.mark.parametrize(("content", "kind", "word"), FAULTS)
def test_no_weather_file_is_refused_and_the_figures_stay(nadia, client_of, organisation, content, kind, word):
    from django.core.files.uploadedfile import SimpleUploadedFile

    site = a_site(organisation)
    file = SimpleUploadedFile("a.txt", content or b"x")
    page = client_of(nadia).post(
        f"/sites/{site.code}/climate/",
        {"weather_file": file, "weather_kind": kind, "air_c": "1 2 3 4 5 6 7 8 9 10 11 12"},
    )
    assert page.status_code in (200, 422)
    assert word in page.content.decode() and "9 10 11 12" in page.content.decode()


def test_a_file_of_another_country_is_refused(nadia, client_of, organisation):
    from django.core.files.uploadedfile import SimpleUploadedFile

    site = a_site(organisation, latitude_deg=LATITUDE + 5, longitude_deg=LONGITUDE)
    sent = {"weather_file": SimpleUploadedFile("year.epw", epw().encode()), "weather_kind": "epw"}
    page = client_of(nadia).post(f"/sites/{site.code}/climate/", sent)
    assert "km away" in page.content.decode()


def test_the_words_for_the_default_sun_are_those_of_the_engineering():
    """So that pages can tell them in the reader's language."""
    from fleet.registry.engineering import choice
    from sizing import climate

    assert climate.default_climate(12.5, -1.5).source == choice.DEFAULT_SOURCE


def test_programs_are_told_the_sun_of_a_place_as_the_page_is(organisation, nadia, otto, api_of):
    site = a_site(organisation, latitude_deg=3.1, longitude_deg=35.6)
    told = api_of(nadia).get(f"/api/v1/sites/{site.code}/sun/").json()
    here = sunlight.sun_here(site, datetime.now(ZoneInfo(site.zone)))
    assert parse_datetime(told["noon"]["at"]) == here.noon.at and told["zone"] == site.zone
    assert told["facing"]["bearing_deg"] == here.facing.bearing_deg == 180
    assert told["facing"]["compass_deg"] == pytest.approx((180 - told["facing"]["declination_deg"]) % 360)
    assert len(told["noons"]) == 14 and len(told["clock_rule_by_month"]) == 12
    assert told["today"][0]["height_deg"] >= 0 and len(told["today"]) >= 20
    by_error = {row["error_deg"]: row["by_year"] for row in told["azimuth_error"]}
    assert by_error[90] > by_error[45] > by_error[10] and len(told["azimuth_error"][0]["by_month"]) == 12
    assert api_of(otto).get(f"/api/v1/sites/{site.code}/sun/").status_code == 404


@pytest.mark.parametrize("language", ["fr", "sw"])
def test_each_reason_is_in_the_catalogues_with_all_its_numbers(language, in_language):
    sentences = [text for pair in REASONS.values() for text in pair]
    assert set(sentences) == set(reasons.TEXTS)
    in_language(language)
    with translation.override(language):
        told = [gettext(text) for text in sentences]
    assert all(words != text for words, text in zip(told, sentences) if len(text) > 40)
    for words, text in zip(told, sentences):
        assert sorted(re.findall(r"{[^}]*}", words)) == sorted(re.findall(r"{[^}]*}", text)), words


def test_the_month_is_named_and_not_counted(catalogue, organisation):
    answer, _left_out = choice.answer_survey(organisation=organisation, **SURVEY | {"need_l_day": 400_000})
    (said,) = [c["sentence"] for c in choice.rows(answer)[0]["checks"] if c["code"] == "need"]
    assert re.search(r"In the worst month, [A-Z][a-z]+, it gives [\d,]+ L a day; 400,000 L are needed\.", said)
