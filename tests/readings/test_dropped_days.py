"""Days of a logger's samples are dropped with a reason and put back; an import says that it replaces what it covers."""

import io
import json
from datetime import date

import numpy as np
import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.intake.models import SavedMapping, Upload
from fleet.readings.bringing import bring_csv, word_for
from fleet.readings.models import Arrival, DayRecord, DaySeries, DroppedDays, DroppedSeries, Slip, Standing
from fleet.readings.services import drop_days, keep_days, put_back
from fleet.trail.models import Change
from fleet.web.refusals import Refused
from tests.makers.readings import NOON
from tests.makers.registry import a_site, a_well, an_installation
from tests.readings.test_logger_clock import AWAKE, DAY, WHOLE, clock, flowing, keep, volumes

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2024, 6, 1), date(2024, 6, 5)


@pytest.fixture
def installation(organisation):
    well = a_well(a_site(organisation, latitude_deg=3.1, longitude_deg=40.0))
    return an_installation(organisation, well=well, instrument_level="logger")


def drop(installation, by, first=FIRST, last=LAST, why="its clock was three hours ahead"):
    return drop_days(installation=installation, first=first, last=last, why=why, by=by)


def all_that_stands():
    return [
        list(model.objects.order_by("installation_id", "day").values()) for model in (DaySeries, DayRecord)
    ]  # fmt: skip


def refused(code, done, **what):
    with pytest.raises(Refused) as refusal:
        done(**what)
    assert refusal.value.code == code, refusal.value


# -- dropped by a person -----------------------------------------------------------------------------------------------


def test_dropped_days_are_gone_from_what_is_used_with_their_reason_and_the_judgement_goes_back(installation, nadia):
    keep(installation, 3, sun=True)
    Arrival.objects.all().delete()
    dropped = drop(installation, nadia, first=date(2024, 6, 2), last=date(2024, 6, 3))
    assert [row.day.day for row in DaySeries.objects.order_by("day")] == [1, 4, 5]
    assert [row.day.day for row in DayRecord.objects.order_by("day")] == [1, 4, 5]
    assert (dropped.days, dropped.by, dropped.why) == (2, nadia, "its clock was three hours ahead")
    assert Arrival.objects.get().first_day == date(2024, 6, 2)
    assert Change.objects.of(dropped).count() == 1


def test_put_back_everything_stands_as_it_did_and_twice_is_harmless(installation, nadia, amara):
    keep(installation, 3, sun=True)
    before = all_that_stands()
    dropped = drop(installation, nadia)
    assert all_that_stands() == [[], []]
    Arrival.objects.all().delete()
    for _n in range(2):
        put_back(dropped=dropped, by=amara)
    assert all_that_stands() == before
    dropped.refresh_from_db()
    assert (dropped.by, dropped.put_back_by) == (nadia, amara)
    assert Arrival.objects.get().first_day == FIRST and not DroppedSeries.objects.exists()


def test_what_was_reported_as_such_stays_and_what_came_of_the_samples_goes(installation, nadia):
    keep(installation, 0, sun=True)
    keep_days(installations=np.full(2, installation.pk), days=DAY + np.arange(2),
              columns={"volume_l": np.array([3000.0, 3100.0]), "tank_full_seen": np.array([1, 0])})  # fmt: skip
    DayRecord.objects.filter(day=FIRST).update(irradiation_kwh_m2=5.5)  # brought in as such
    dropped = drop(installation, nadia)
    one, two = DayRecord.objects.order_by("day")
    assert (one.volume_l, one.tank_full_seen, one.irradiation_kwh_m2) == (3000, True, 5.5)
    assert (two.volume_l, two.irradiation_kwh_m2) == (3100, None)
    assert {one.noon_irradiance_w_m2, two.noon_irradiance_w_m2} == {None}
    put_back(dropped=dropped, by=nadia)
    two.refresh_from_db()
    assert two.irradiation_kwh_m2 is not None and two.noon_irradiance_w_m2 is not None and two.volume_l == 3100


def test_a_figure_that_a_person_settled_stays_and_an_open_doubt_goes_with_its_figure(installation, nadia):
    keep(installation, 0, days=range(2))
    DayRecord.objects.filter(day=FIRST).update(volume_l=900, standing=Standing.CORRECTED)
    DayRecord.objects.filter(day=date(2024, 6, 2)).update(standing=Standing.IN_DOUBT)
    at = NOON.replace(day=2, hour=9, minute=0)
    Slip.objects.create(installation=installation, subject="day", at=at, field="volume_l", found=1, kind="impossible")
    drop(installation, nadia)
    record = DayRecord.objects.get()
    assert (record.day, record.volume_l, record.standing) == (FIRST, 900, Standing.CORRECTED)
    assert not Slip.objects.exists()
    assert Change.objects.filter(table="readings_slip", kind="D").count() == 1


def test_put_back_beside_a_figure_that_came_since_the_newer_one_stays(installation, nadia):
    keep(installation, 0, days=range(1), sun=True)
    dropped = drop(installation, nadia)
    keep_days(installations=np.array([installation.pk]), days=DAY + np.arange(1), columns={"volume_l": [2500.0]})
    put_back(dropped=dropped, by=nadia)
    record = DayRecord.objects.get()
    assert record.volume_l == 2500 and not record.derived and record.irradiation_kwh_m2 > 0


def test_what_cannot_be_dropped_is_refused_with_the_way_out(installation, nadia, idris, otto):
    keep(installation, 0)
    refused("no_reason", drop, installation=installation, by=nadia, why="  ")
    refused("wrong_order", drop, installation=installation, by=nadia, first=LAST, last=FIRST)
    refused("too_many", drop, installation=installation, by=nadia, first=date(2020, 1, 1))
    refused("nothing_there", drop, installation=installation, by=nadia, first=date(2024, 7, 1), last=date(2024, 7, 2))
    refused("not_allowed", drop, installation=installation, by=idris)
    refused("not_yours", drop, installation=installation, by=otto)
    assert DaySeries.objects.count() == 5 and not DroppedDays.objects.exists()


def test_where_samples_came_since_they_are_dropped_first(installation, nadia, idris, otto):
    keep(installation, 3)
    dropped = drop(installation, nadia)
    refused("not_allowed", put_back, dropped=dropped, by=idris)
    refused("not_yours", put_back, dropped=dropped, by=otto)
    keep(installation, 0, days=[2])
    refused("came_since", put_back, dropped=dropped, by=nadia)
    assert DaySeries.objects.count() == 1
    drop(installation, nadia, why="to have the others back")
    put_back(dropped=dropped, by=nadia)
    assert DaySeries.objects.count() == 5


def test_the_database_wants_a_reason_and_days_in_order(installation):
    known = {"installation": installation, "first_day": FIRST, "last_day": LAST, "days": 1, "why": "x"}
    for wrong in ({"why": ""}, {"last_day": date(2024, 5, 1)}, {"days": 0}):
        with pytest.raises(IntegrityError), transaction.atomic():
            DroppedDays.objects.create(**known | wrong)


# -- replaced by an import ---------------------------------------------------------------------------------------------


def file_of(installation, ahead_h=0, days=range(5)):
    lines = ["serial,at,flow_l_min"]
    for n in days:
        for second, flow in zip((AWAKE + ahead_h * 3600).tolist(), flowing(AWAKE).tolist(), strict=True):
            day, at = DAY + n + second // 86400, second % 86400
            lines.append(f"{installation.unit.serial},{day} {at // 3600:02d}:{at % 3600 // 60:02d},{flow:.3f}")
    return ("\n".join(lines) + "\n").encode()


def bring(installation, by, replace=False, look=False, **what):
    word = word_for(keep_good=False, look=look)
    return bring_csv(table="series", body=file_of(installation, **what), by=by, word=word, replace=replace)


def test_a_mended_clock_s_days_take_the_place_of_those_of_wrong_hours(installation, nadia):
    bring(installation, nadia, ahead_h=3)
    assert clock(installation) is not None
    merged = bring(installation, nadia, look=True)
    assert merged.changed and not DroppedDays.objects.exists()
    brought = bring(installation, nadia, replace=True)
    assert brought.kept and any("5 days is replaced" in n or "5 days" in n for n in brought.notes), brought.notes
    assert [sorted(row.second) for row in DaySeries.objects.order_by("day")] == [AWAKE.tolist()] * 5
    assert volumes(installation) == [pytest.approx(round(WHOLE), abs=1)] * 5
    assert clock(installation) is None
    dropped = DroppedDays.objects.get()
    assert (dropped.days, dropped.by) == (5, nadia) and "Replaced" in dropped.why


def test_without_the_word_the_samples_are_merged_as_before(installation, nadia):
    bring(installation, nadia, ahead_h=3)
    bring(installation, nadia)
    assert all(len(row.second) > len(AWAKE) for row in DaySeries.objects.all())
    assert not DroppedDays.objects.exists()


def test_only_the_days_that_it_covers_are_replaced_and_the_same_file_twice_changes_nothing(installation, nadia):
    bring(installation, nadia, ahead_h=3)
    bring(installation, nadia, replace=True, days=[1, 2])
    assert [min(row.second) - AWAKE[0] for row in DaySeries.objects.order_by("day")] == [10800, 0, 0, 10800, 10800]
    before = all_that_stands()
    again = bring(installation, nadia, replace=True, days=[1, 2])
    assert (again.new, again.changed) == (0, 0) and all_that_stands() == before
    assert DroppedDays.objects.get().days == 2


def test_looking_only_drops_nothing(installation, nadia):
    bring(installation, nadia, ahead_h=3)
    before = all_that_stands()
    looked = bring(installation, nadia, replace=True, look=True)
    assert not looked.kept and all_that_stands() == before and not DroppedDays.objects.exists()


def test_a_day_that_comes_in_two_portions_of_a_file_is_replaced_once(installation, nadia, monkeypatch):
    from fleet.intake import tables

    bring(installation, nadia, ahead_h=3, days=range(2))
    monkeypatch.setattr(type(tables.find("series")), "chunk", 30)
    bring(installation, nadia, replace=True, days=range(2))
    assert [sorted(row.second) for row in DaySeries.objects.order_by("day")] == [AWAKE.tolist()] * 2
    assert sum(DroppedDays.objects.values_list("days", flat=True)) == 2


def test_rows_that_the_database_refuses_leave_the_days_as_they_were(installation, nadia, monkeypatch):
    from fleet.readings import tables
    from fleet.readings.services import keep_series

    bring(installation, nadia, ahead_h=3, days=[0])
    before, fell = all_that_stands(), []

    def falls_once(**what):
        kept = keep_series(**what)
        if not fell:
            fell.append(1)
            raise IntegrityError("for this test")
        return kept

    monkeypatch.setattr(tables, "keep_series", falls_once)
    brought = bring(installation, nadia, replace=True, days=[0])
    assert brought.kept and fell
    assert DaySeries.objects.get().second == AWAKE.tolist()
    assert DroppedSeries.objects.get().second == before[0][0]["second"] and DroppedDays.objects.get().days == 1


# -- pages, API, commands ----------------------------------------------------------------------------------------------


def test_nadia_drops_days_from_the_readings_page_and_puts_them_back(client_of, nadia, idris, otto, installation):
    keep(installation, 3)
    page_of_days = reverse("readings:of", args=[installation.pk])
    client, address = client_of(nadia), reverse("readings:drop_days", args=[installation.pk])
    month = {"kind": "days", "month": "2024-06"}
    assert address in client.get(page_of_days, month).content.decode()
    assert address not in client_of(idris).get(page_of_days, month).content.decode()
    assert client_of(idris).get(address).status_code == 403
    assert client_of(otto).get(address).status_code in (403, 404)
    assert 'value="2024-06-01"' in client.get(address, {"month": "2024-06"}).content.decode()
    form = {"first_day": "2024-06-01", "last_day": "2024-06-05", "why": ""}
    assert client.post(address, form).status_code == 422
    wrong = client.post(address, form | {"why": "clock", "last_day": "2024-05-01"})
    assert wrong.status_code == 422 and "lies after the last" in wrong.content.decode()
    page = client.post(address, form | {"why": "its clock was ahead"}, follow=True).content.decode()
    assert "5 days are dropped." in page and "its clock was ahead" in page and "Nadia Sefu" in page
    back = reverse("readings:put_back", args=[DroppedDays.objects.get().pk])
    assert client_of(idris).post(back).status_code == 403 and client_of(otto).post(back).status_code == 404
    assert "stand again" in client.post(back, follow=True).content.decode()
    assert DaySeries.objects.count() == 5


def test_the_page_says_why_days_cannot_be_put_back(client_of, nadia, installation):
    keep(installation, 3)
    dropped = drop(installation, nadia)
    keep(installation, 0, days=[2])
    page = client_of(nadia).post(reverse("readings:put_back", args=[dropped.pk]), follow=True).content.decode()
    assert "Samples have come since for 1 of these days, the first on 3 Jun 2024" in page


def test_many_dropped_days_cost_no_more_queries_on_the_page(client_of, nadia, installation):
    client, counts = client_of(nadia), []
    keep(installation, 0)
    for days in ([1], [2, 3, 4]):
        for day in days:
            drop(installation, nadia, first=date(2024, 6, day), last=date(2024, 6, day))
        with CaptureQueriesContext(connection) as queries:
            client.get(reverse("readings:of", args=[installation.pk]), {"kind": "days", "month": "2024-06"})
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_the_api_drops_tells_and_puts_back(api_of, nadia, idris, otto, installation):
    keep(installation, 3)
    address = f"/api/v1/installations/{installation.pk}/dropped-days/"
    asked = {"first_day": "2024-06-01", "last_day": "2024-06-05", "why": "its clock was ahead"}
    assert api_of(idris).post(address, asked, format="json").status_code == 403
    assert api_of(otto).get(address).status_code == 404
    assert api_of(nadia).post(address, asked | {"why": ""}, format="json").status_code == 400
    made = api_of(nadia).post(address, asked, format="json")
    assert made.status_code == 201 and made.json()["days"] == 5
    nothing = api_of(nadia).post(address, asked, format="json")
    assert nothing.status_code == 409 and nothing.json()["errors"][0]["code"] == "nothing_there"
    assert [one["put_back_at"] for one in api_of(idris).get(address).json()] == [None]
    back = f"/api/v1/dropped-days/{made.json()['id']}/put-back/"
    assert api_of(idris).post(back).status_code == 403 and api_of(otto).post(back).status_code == 404
    assert [api_of(nadia).post(back).status_code for _ in range(2)] == [200, 200]
    assert api_of(nadia).get(address).json()[0]["put_back_by"] == "nadia"


def test_the_api_takes_series_that_replace(api_of, nadia, installation):
    bring(installation, nadia, ahead_h=3, days=[0])
    row = {"serial": installation.unit.serial, "at": f"{DAY} 09:00", "flow_l_min": 10}
    answer = api_of(nadia).post("/api/v1/series/?replace=1", [row], format="json")
    assert answer.status_code == 200, answer.content
    assert DaySeries.objects.get(day=FIRST).second == [32400] and DroppedDays.objects.get().days == 1


def test_the_command_that_brings_tables_in_replaces_too(installation, nadia, tmp_path):
    bring(installation, nadia, ahead_h=3)
    path = tmp_path / "mended.csv"
    path.write_bytes(file_of(installation))
    said = io.StringIO()
    call_command("import_table", "series", str(path), "--replace", stdout=said)
    assert "5 days" in said.getvalue() and DroppedDays.objects.get().by is None
    assert [sorted(row.second) for row in DaySeries.objects.order_by("day")] == [AWAKE.tolist()] * 5
    with pytest.raises(CommandError, match="replaces nothing"):
        call_command("import_table", "daily_records", str(path), "--replace", stdout=said)


def test_the_command_drops_and_puts_back_in_somebodys_name(installation, nadia, otto):
    keep(installation, 3)
    serial, said = installation.unit.serial, io.StringIO()
    days = ["2024-06-01", "2024-06-05", "--by", "nadia"]
    with pytest.raises(CommandError, match="Say why"):
        call_command("drop_days", serial, *days, stdout=said)
    call_command("drop_days", serial, *days, "--why", "wrong hours", stdout=said)
    assert "5 days dropped" in said.getvalue() and DroppedDays.objects.get().by == nadia
    for wrong in (["NOBODY", *days], [serial, *days[:2], "--by", "otto"], [serial, *days[:2], "--by", "nobody"]):
        with pytest.raises(CommandError):
            call_command("drop_days", *wrong, "--why", "x", stdout=said)
    call_command("drop_days", serial, *days, "--put-back", stdout=said)
    assert DaySeries.objects.count() == 5
    with pytest.raises(CommandError, match="still out"):
        call_command("drop_days", serial, *days, "--put-back", stdout=said)


def test_an_upload_says_each_time_anew_that_it_replaces(client_of, nadia, installation):
    from django.core.files.uploadedfile import SimpleUploadedFile

    bring(installation, nadia, ahead_h=3, days=[0])
    client = client_of(nadia)

    def send():
        file = SimpleUploadedFile("mended.csv", file_of(installation, days=[0]))
        return client.post(reverse("intake:start"), {"table": "series", "file": file}).url

    address = send()
    page = client.get(address).content.decode()
    assert "Replace the days that this file covers" in page
    uses = {f"use_{n}": name for n, name in enumerate(("serial", "at", "flow_l_min"))}
    client.post(address, uses | {"replace": "on"})
    upload = Upload.objects.get()
    assert upload.mapping["replace"] is True and "replace" not in SavedMapping.objects.get().mapping
    assert not DroppedDays.objects.exists()
    looked = client.get(reverse("intake:upload", args=[upload.pk])).content.decode()
    assert "What stood of 1 day is replaced" in looked
    client.post(reverse("intake:keep", args=[upload.pk]), {"word": "all"})
    assert DroppedDays.objects.get().by == nadia
    assert DaySeries.objects.get(day=FIRST).second == AWAKE.tolist()
    assert 'name="replace"' in (again := client.get(send()).content.decode()) and "checked" not in again
    assert json.dumps(SavedMapping.objects.get().mapping)
