"""Days of which a logger told a part only: kept for their shape, not counted as days of little water."""

import html

import numpy as np
import pytest
from django.urls import reverse

from fleet.readings.models import Arrival, DayRecord, DaySeries, Standing
from fleet.readings.services import keep_days, keep_series
from tests.makers.registry import a_site, a_well, an_installation

pytestmark = pytest.mark.django_db
DAY = np.datetime64("2024-06-01")
QUARTERS = np.arange(24, 76) * 900  # from six in the morning to a quarter to seven


@pytest.fixture
def installation(organisation):
    return an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=3.1, longitude_deg=40.0)))


def flowing(seconds):
    """Flow of a sound unit, L/min, that starts at about a quarter past seven by this clock."""
    return np.maximum(20 * np.sin(np.pi * (seconds / 3600 - 6.4) / 12) - 4, 0)


def keep(installation, seconds, day=DAY, **columns):
    seconds = np.asarray(seconds)
    columns = columns or {"flow_l_min": flowing(seconds)}
    return keep_series(
        installations=np.full(len(seconds), installation.pk), days=np.full(len(seconds), day), seconds=seconds,
        columns=columns,
    )  # fmt: skip


def record(installation, day=DAY):
    return DayRecord.objects.get(installation=installation, day=day.item())


WHOLE = flowing(QUARTERS).sum() * 15


def test_a_logger_that_falls_silent_at_noon_has_no_volume_of_that_day_and_keeps_its_quarters(installation):
    morning = QUARTERS[QUARTERS <= 12 * 3600]
    keep(installation, morning, flow_l_min=flowing(morning), irradiance_w_m2=50 * flowing(morning))
    row = record(installation)
    assert (row.volume_l, row.irradiation_kwh_m2) == (None, None)
    assert len(DaySeries.objects.get(installation=installation).flow_l_min) == len(morning)


def test_pieces_that_come_late_complete_the_day_and_send_the_judgement_back(installation):
    morning = QUARTERS <= 12 * 3600
    sun = 40 * flowing(QUARTERS) + 100
    keep(installation, QUARTERS[morning], flow_l_min=flowing(QUARTERS)[morning], irradiance_w_m2=sun[morning])
    early = record(installation).noon_irradiance_w_m2
    Arrival.objects.all().delete()
    keep(installation, QUARTERS[~morning], flow_l_min=flowing(QUARTERS)[~morning], irradiance_w_m2=sun[~morning])
    row = record(installation)
    assert row.volume_l == pytest.approx(WHOLE, rel=1e-6)
    assert row.irradiation_kwh_m2 > 4
    assert row.noon_irradiance_w_m2 > 1.2 * early  # the middle of the morning's light was no noon
    assert Arrival.objects.get().first_day == DAY.item()


@pytest.mark.parametrize(("away_min", "counts"), [(30, True), (45, True), (90, False), (240, False)])
def test_a_silence_about_noon_counts_by_the_light_that_it_hides(installation, away_min, counts):
    minutes = np.arange(6 * 60, 19 * 60, 5)
    there = np.abs(minutes - 12 * 60) >= away_min / 2
    keep(installation, minutes[there] * 60)
    assert (record(installation).volume_l is not None) is counts


def test_a_silence_at_night_is_none(installation):
    keep(installation, np.arange(7 * 3600, 17.6 * 3600, 900))
    assert record(installation).volume_l == pytest.approx(WHOLE, rel=0.01)


@pytest.mark.parametrize(("longitude_deg", "zone"), [(40.0, "Africa/Nairobi"), (-77.0, "America/Bogota")])
def test_the_suns_hours_are_those_of_the_place_by_its_own_clock(organisation, longitude_deg, zone):
    site = a_site(organisation, latitude_deg=3.1, longitude_deg=longitude_deg)
    site.zone = zone
    site.save()
    keep(one := an_installation(organisation, well=a_well(site)), QUARTERS)
    assert record(one).volume_l == pytest.approx(WHOLE, rel=1e-6)


def test_a_logger_of_every_hour_is_added_up_whole(installation):
    keep(installation, np.arange(6, 20) * 3600)
    assert record(installation).volume_l == pytest.approx(WHOLE, rel=0.02)


def test_channels_written_at_other_seconds_do_not_halve_each_other(installation):
    both = np.sort(np.append(QUARTERS, QUARTERS + 30))
    flow = np.where(both % 900 == 0, flowing(both), np.nan)
    keep(installation, both, flow_l_min=flow, voltage_v=np.where(np.isnan(flow), 50.0, np.nan))
    assert record(installation).volume_l == pytest.approx(WHOLE, rel=1e-6)


def only_while_running(stops_h=24):
    seconds = QUARTERS[(flowing(QUARTERS) > 0) & (stops_h * 3600 > QUARTERS)]
    return seconds, flowing(seconds)


def test_who_writes_only_while_water_flows_is_silent_when_the_tank_is_full_and_that_is_no_gap(installation):
    for n, stops in enumerate((24, 24, 24, 13, 11)):
        seconds, flow = only_while_running(stops)
        keep(installation, seconds, DAY + n, flow_l_min=flow)
    assert record(installation, DAY + 3).volume_l == pytest.approx(only_while_running(13)[1].sum() * 15, rel=0.1)
    assert record(installation, DAY + 4).volume_l is not None


def test_its_first_days_count_as_soon_as_its_habit_is_known(installation):
    seconds, flow = only_while_running(12)
    for n in range(2):
        keep(installation, seconds, DAY + n, flow_l_min=flow)
    assert record(installation).volume_l is None  # it may as well have fallen silent
    keep(installation, seconds, DAY + 2, flow_l_min=flow)
    assert DayRecord.objects.filter(volume_l__isnull=False).count() == 3


def test_who_writes_noughts_in_the_morning_and_nothing_in_the_afternoon_has_fallen_silent(installation):
    for n in range(12):
        keep(installation, QUARTERS[QUARTERS <= 12 * 3600], DAY + n)
    assert not DayRecord.objects.filter(volume_l__isnull=False).exists()


def test_a_figure_that_a_person_corrected_or_somebody_reported_stays(installation):
    keep(installation, QUARTERS)
    DayRecord.objects.update(volume_l=4000, standing=Standing.CORRECTED)
    keep_days(installations=[installation.pk], days=[DAY + 1], columns={"volume_l": [5000.0]})
    DaySeries.objects.all().delete()
    for n in range(2):
        keep(installation, QUARTERS[:20], DAY + n)
    assert [record(installation, DAY + n).volume_l for n in range(2)] == [4000, 5000]


def test_what_was_taken_for_whole_is_taken_back_when_samples_show_that_it_was_a_part(installation):
    keep(installation, QUARTERS)
    DaySeries.objects.all().delete()
    keep(installation, QUARTERS[:20])
    assert record(installation).volume_l is None


@pytest.mark.parametrize(("language", "said"), [
    ("en", "a part of this day only"), ("fr", "qu’une partie de ce jour"), ("sw", "sehemu tu ya siku hii"),
])  # fmt: skip
def test_the_page_says_why_the_day_has_no_volume(installation, client_of, nadia, in_language, language, said):
    if language != "en":
        in_language(language)
    keep(installation, QUARTERS[:20])
    nadia.language = language
    nadia.save()
    page = client_of(nadia).get(reverse("readings:of", args=[installation.pk]), {"kind": "days"})
    assert said in html.unescape(page.content.decode())
