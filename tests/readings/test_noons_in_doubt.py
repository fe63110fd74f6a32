"""Noon records that were written or brought in: slips are marked, wait for a person, and are not used until then."""

import html

import numpy as np
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.output.services.nightly.load import as_number, load
from fleet.readings.models import DayRecord, Slip, Standing
from fleet.readings.services import keep_days, settle
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db
FIRST = np.datetime64("2024-06-01")
SUN, VOLTS, AMPS = 700.0, 51.2, 4.4


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


def keep(installation, first=0, count=12, derived=False, **wrong):
    """Noons of a sound unit, one a day; wrong: {column: {day: figure}}."""
    rng = np.random.default_rng(5)
    columns = {
        "noon_irradiance_w_m2": np.full(count, SUN), "noon_voltage_v": (VOLTS + rng.normal(0, 0.5, count)).round(1),
        "noon_current_a": (AMPS + rng.normal(0, 0.1, count)).round(2),
    }  # fmt: skip
    for name, figures in wrong.items():
        for day, figure in figures.items():
            columns[name][day - first] = figure
    days = FIRST + first + np.arange(count)
    keep_days(installations=np.full(count, installation.pk), days=days, columns=columns, derived=derived)


def record(day):
    return DayRecord.objects.get(day=(FIRST + day).item())


def said(text):
    return text.replace("\u00a0", " ")


def test_a_slip_of_ten_waits_with_what_would_fit_and_is_settled_in_one_click(installation, nadia):
    keep(installation, noon_voltage_v={6: 5.14})
    slip = Slip.objects.get()
    assert (slip.subject, slip.kind, slip.field) == ("noon", "slip_of_ten", "noon_voltage_v")
    assert (slip.found, slip.suggested) == (5.14, 51.4)
    assert "About 51 V was usual" in said(slip.reason) and "51.4 V, it would fit" in said(slip.reason)
    assert (record(6).noon_standing, record(6).standing) == (Standing.IN_DOUBT, Standing.GOOD)
    settle(slip=slip, how="as_suggested", by=nadia)
    assert (record(6).noon_voltage_v, record(6).noon_standing) == (51.4, Standing.CORRECTED)
    keep(installation, noon_voltage_v={6: 5.14})
    assert record(6).noon_voltage_v == 51.4 and not Slip.objects.waiting().exists()


def test_two_digits_changed_over_and_another_unit_are_told_apart(installation):
    keep(installation, noon_voltage_v={3: 15.2}, noon_irradiance_w_m2={8: 0.71})
    told = {(s.field, s.kind, s.suggested) for s in Slip.objects.all()}
    assert told == {("noon_voltage_v", "swapped_digits", 51.2), ("noon_irradiance_w_m2", "wrong_unit", 710)}
    assert "in another unit of measure it is 710 W/m²" in said(Slip.objects.get(kind="wrong_unit").reason)


def test_a_noon_in_doubt_is_not_used_by_night_and_one_that_was_kept_as_written_is(installation, nadia):
    keep(installation, noon_voltage_v={6: 5.14})
    ids, day = np.array([installation.pk]), as_number((FIRST + 6).item())
    assert np.isnan(load(ids, day, day)[day][0].noon_v).all()
    settle(slip=Slip.objects.get(), how="keep", by=nadia)
    assert load(ids, day, day)[day][0].noon_v.tolist() == [5.14]


def test_a_noon_with_two_figures_in_doubt_counts_when_both_are_settled(installation, nadia):
    keep(installation, noon_voltage_v={6: 5.14}, noon_current_a={6: 44.1})
    volts, amps = (Slip.objects.get(field=f"noon_{name}") for name in ("voltage_v", "current_a"))
    settle(slip=volts, how="as_suggested", by=nadia)
    assert record(6).noon_standing == Standing.IN_DOUBT
    settle(slip=amps, how="as_suggested", by=nadia)
    assert (record(6).noon_standing, record(6).noon_current_a) == (Standing.CORRECTED, 4.41)


def test_a_noon_set_aside_settles_all_its_figures(installation, nadia):
    keep(installation, noon_voltage_v={6: 5.14}, noon_current_a={6: 44.1})
    settle(slip=Slip.objects.first(), how="aside", by=nadia)
    assert set(Slip.objects.values_list("state", flat=True)) == {"aside"}
    assert record(6).noon_standing == Standing.SET_ASIDE


def test_a_figure_that_comes_anew_lets_the_question_go_and_a_new_slip_is_asked_about(installation):
    keep(installation, noon_voltage_v={6: 5.14})
    keep(installation)
    assert (Slip.objects.get().state, record(6).noon_standing) == ("amended", Standing.GOOD)
    keep(installation, noon_voltage_v={6: 5.14})
    assert (Slip.objects.get().state, record(6).noon_standing) == ("open", Standing.IN_DOUBT)


def test_noons_that_come_one_by_one_are_held_against_those_before(installation):
    keep(installation)
    keep(installation, first=12, count=1, noon_voltage_v={12: 513.0})
    assert Slip.objects.get().suggested == 51.3


def test_what_a_logger_measured_itself_is_no_handwriting(installation):
    keep(installation, noon_voltage_v={6: 5.14}, derived=True)
    assert not Slip.objects.exists()


def test_many_sound_noons_cost_no_more_questions_than_a_few(installation):
    keep(installation, count=300)  # makes the months, too
    asked = []
    for count in (2, 300):
        with CaptureQueriesContext(connection) as told:
            keep(installation, count=count)
        asked.append(len(told))
    assert asked[1] <= asked[0] <= 40
    assert not Slip.objects.exists()


def test_the_page_settles_it_in_its_own_unit(installation, client_of, nadia):
    keep(installation, noon_voltage_v={6: 5.14})
    client, slip = client_of(nadia), Slip.objects.get()
    page = html.unescape(client.get(reverse("readings:slips")).content.decode())
    assert "a slip of ten: voltage at noon" in page
    assert "The right figure, V" in page and "The figure becomes 51.4" in said(page)
    client.post(reverse("readings:settle", args=[slip.pk]), {"how": "as_suggested"})
    assert record(6).noon_voltage_v == 51.4
