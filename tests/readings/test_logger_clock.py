"""Loggers that wake with the sun and whose clock is wrong: told what is wrong, and their sound days count."""


import html

import numpy as np
import pytest
from django.urls import reverse

from fleet.output.services.nightly import courses
from fleet.output.services.nightly.load import as_number
from fleet.readings.bringing import bring_csv, word_for
from fleet.readings.models import DayRecord
from fleet.readings.services import keep_series, logger_clock
from sizing.causes import shape
from tests.makers.registry import a_site, a_well, an_installation

pytestmark = pytest.mark.django_db
DAY = np.datetime64("2024-06-01")
AWAKE = np.arange(25, 73) * 900  # from a quarter past six to six o'clock, true time


@pytest.fixture
def installation(organisation):
    return an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=3.1, longitude_deg=40.0)))


def flowing(seconds):
    """Flow of a sound unit, L/min, by true time."""
    return np.maximum(20 * np.sin(np.pi * (seconds / 3600 - 6.4) / 12) - 4, 0)


WHOLE = flowing(AWAKE).sum() * 15


def keep(installation, ahead_h, days=range(5), awake=AWAKE, sun=False, stops_h=24):
    """Days of a logger whose clock is so many hours ahead."""
    for n in days:
        flow = np.where(awake < stops_h * 3600, flowing(awake), 0)
        columns = {"flow_l_min": flow} | ({"irradiance_w_m2": 45 * flowing(awake)} if sun else {})
        shown = awake + int(ahead_h * 3600)
        day, second = DAY + n + shown // 86400, shown % 86400
        keep_series(installations=np.full(len(awake), installation.pk), days=day, seconds=second, columns=columns)


def volumes(installation):
    rows = DayRecord.objects.filter(installation=installation).order_by("day")
    return [None if v is None else round(v) for v in rows.values_list("volume_l", flat=True)]


def clock(installation):
    return logger_clock.clock_of(installation, DAY.item(), (DAY + 30).item())


@pytest.mark.parametrize("sun", [False, True], ids=["flow alone", "with the sun"])
@pytest.mark.parametrize("ahead_h", [3, -3, 5.5, 1.5])
def test_its_days_count_and_it_is_told_how_far_its_clock_is_off(installation, ahead_h, sun):
    keep(installation, ahead_h, sun=sun)
    assert volumes(installation) == [round(WHOLE)] * 5
    told = clock(installation)
    assert told.hours == pytest.approx(ahead_h, abs=0.3) and not told.split
    assert told.days == 5 and told.wakes_s == AWAKE[0] + ahead_h * 3600


def test_two_days_prove_nothing_and_with_the_third_the_first_count_too(installation):
    keep(installation, 3, days=range(2))
    assert volumes(installation) == [None, None] and clock(installation) is None
    keep(installation, 3, days=[2])
    assert volumes(installation) == [round(WHOLE)] * 3


def test_a_clock_that_was_set_right_in_between_is_told_of_the_days_before_only(installation):
    keep(installation, 4, days=range(4))
    keep(installation, 0, days=range(4, 12))
    assert volumes(installation) == [round(WHOLE)] * 12
    assert clock(installation).newest == (DAY + 3).item()


@pytest.mark.parametrize("ahead_h", [9, 12, -9])
def test_days_that_run_over_midnight_give_no_volume_and_the_clock_is_told(installation, ahead_h):
    keep(installation, ahead_h)
    assert set(volumes(installation)) == {None}
    told = clock(installation)
    assert told.split and abs((told.hours - ahead_h + 12) % 24 - 12) < 0.3


def test_a_right_clock_is_not_told_though_the_tank_is_full_at_ten(installation):
    keep(installation, 0, days=range(3))
    keep(installation, 0, days=range(3, 8), stops_h=10)
    assert clock(installation) is None and None not in volumes(installation)


def test_who_falls_silent_while_water_flows_has_a_gap_and_no_wrong_clock(installation):
    for until_h in (12, 15.75):
        keep(installation, 0, awake=np.arange(12, int(until_h * 4)) * 900)
        assert clock(installation) is None
    assert set(volumes(installation)) == {None}


def test_who_writes_from_the_night_on_and_has_a_full_tank_before_it_falls_silent_has_no_wrong_clock(installation):
    keep(installation, 0, awake=np.arange(12, 63) * 900, stops_h=11)
    assert clock(installation) is None and set(volumes(installation)) == {None}


def test_noon_is_looked_for_where_it_was_by_that_clock(installation):
    keep(installation, 3)
    for n in range(5, 8):
        keep_series(
            installations=np.full(len(AWAKE), installation.pk), days=np.full(len(AWAKE), DAY + n),
            seconds=AWAKE + 3 * 3600, columns={"flow_l_min": flowing(AWAKE), "current_a": flowing(AWAKE) / 3},
        )  # fmt: skip
    noon = DayRecord.objects.get(day=(DAY + 7).item()).noon_current_a
    assert noon == pytest.approx(flowing(AWAKE).max() / 3, rel=0.03)


@pytest.mark.parametrize(("language", "said"), [
    ("en", "about 3 h ahead: it wrote from 09:15 to 21:00"), ("fr", "en avance d’environ 3 h"),
    ("sw", "mbele kwa takriban saa 3"),
])  # fmt: skip
def test_the_page_says_what_is_wrong_and_how_to_mend_it(installation, client_of, nadia, in_language, language, said):
    if language != "en":
        in_language(language)
    keep(installation, 3)
    nadia.language = language
    nadia.save()
    page = client_of(nadia).get(reverse("readings:of", args=[installation.pk]), {"kind": "days", "month": "2024-06"})
    words = html.unescape(page.content.decode()).replace("\u00a0", " ")
    assert said in words
    assert language != "en" or "Set its clock" in words and "Its volumes are used meanwhile" in words


def test_a_file_that_is_brought_in_tells_it_too(installation, organisation, nadia):
    serial, rows = installation.unit.serial, []
    for n in range(4):
        for second, flow in zip(AWAKE + 3 * 3600, flowing(AWAKE), strict=True):
            hour = f"{second // 3600:02d}:{second % 3600 // 60:02d}"
            rows.append(f"{serial},{DAY + n} {hour},{flow:.3f}")
    body = "serial,time,flow_l_min\n" + "\n".join(rows)
    brought = bring_csv(table="series", body=body.encode(), by=nadia, word=word_for(keep_good=False, look=True))
    assert [note for note in brought.notes if note.startswith(f"{serial}: By the sun the clock")]
    assert not DayRecord.objects.exists(), "it was only looked at"


def test_its_hours_are_read_as_the_sun_has_them(installation):
    keep(installation, 3, days=range(6))
    first, last = as_number(DAY.item()), as_number((DAY + 5).item())
    days, flow, _current, _sun = courses.read([installation.pk], first, last)[installation.pk]
    share = np.nan_to_num(flow)
    middle = (share * shape.QUARTERS).sum(axis=1) / share.sum(axis=1)
    assert len(days) == 6 and middle == pytest.approx(12.1, abs=0.4)


def test_days_over_midnight_are_no_course_of_a_day(installation):
    keep(installation, 12, days=range(6))
    first, last = as_number(DAY.item()), as_number((DAY + 5).item())
    read = courses.read([installation.pk], first, last).get(installation.pk)
    assert read is None or len(read[0]) <= 2
