"""Weather brought in or fetched: kept once, used in judging where nobody else tells, and never in the way."""

import threading
from contextlib import contextmanager
from datetime import date, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import call_command
from django.core.management.base import CommandError
from django.urls import reverse

from fleet.output import services
from fleet.output.fleet_arrays import read_fleet
from fleet.output.models import Evaluation
from fleet.readings.models import Arrival, WeatherDay, WeatherPlace
from fleet.readings.services import keep_meter_reading
from fleet.web.refusals import Refused
from sizing import chain
from tests.makers import weather
from tests.makers.registry import a_site, a_well, an_installation

pytestmark = pytest.mark.django_db
FIRST = date(2024, 5, 1)


def brought(organisation, days, name="Nakwara", **changes):
    content = weather.power_json(days, FIRST, **changes)
    return services.import_weather(organisation=organisation, content=content, kind="power_json", name=name)[1]


@pytest.fixture
def lonely(organisation):
    """A unit with a meter, read about every ten days, and nobody near that tells the sky."""
    well = a_well(a_site(organisation, latitude_deg=3.02, longitude_deg=35.5))
    well.tank.float_switch = False
    well.tank.save()
    return an_installation(organisation, well=well, instrument_level="meter")


def metered(installation, skies, every=10):
    """Meter figures of a sound unit under these daily skies (kWh/m2 on the level, a nearly level frame)."""
    fleet = read_fleet([installation.pk], 2024).fleet
    doy = 122 + np.arange(len(skies))
    litres = chain.expected_days(fleet, np.zeros(len(skies), int), doy, np.array(skies)).volume_l
    total = np.append(0, np.cumsum(litres))
    for n in range(0, len(skies) + 1, every):
        keep_meter_reading(installation=installation, total_l=float(total[n]), day=FIRST + timedelta(days=n))


def test_the_same_file_twice_changes_nothing_and_a_better_figure_is_taken(organisation):
    assert (brought(organisation, [5.0, 4.0]).new, WeatherDay.objects.count()) == (2, 2)
    again = brought(organisation, [5.0, 4.0])
    assert (again.new, again.changed, again.same) == (0, 0, 2)
    better = brought(organisation, [5.0, 4.5, 6.0])
    assert (better.new, better.changed, better.same) == (1, 1, 1)
    assert WeatherPlace.objects.get().covers_km == 50


def test_a_name_stands_for_one_place(organisation):
    brought(organisation, [5.0])
    with pytest.raises(Refused, match="another name"):
        brought(organisation, [5.0], latitude_deg=7.0)
    assert WeatherDay.objects.count() == 1


def test_weather_of_dull_weeks_explains_less_water_and_narrows_the_range(organisation, lonely):
    skies = [6.2] * 20 + [3.2] * 20
    metered(lonely, skies)
    services.judge([lonely.pk], FIRST + timedelta(days=40))
    blind = list(Evaluation.objects.filter(measured_l__isnull=False).order_by("day").values())
    brought(organisation, [*skies, 3.2])
    assert Arrival.objects.filter(pk=lonely.pk).exists()  # what was judged already is judged anew
    services.judge([lonely.pk], FIRST + timedelta(days=40))
    seen = list(Evaluation.objects.filter(measured_l__isnull=False).order_by("day").values())
    assert {row["sun_by"] for row in blind} == {"climate"}
    assert {row["sun_by"] for row in seen} == {"import"}
    dull = slice(30, 40)
    off = [abs(np.log(row["measured_l"] / row["expected_l"])) for row in blind[dull]]
    now = [abs(np.log(row["measured_l"] / row["expected_l"])) for row in seen[dull]]
    assert np.mean(now) < 0.5 * np.mean(off)
    width = [np.log(row["high_l"] / row["low_l"]) for row in blind[:10]]
    narrow = [np.log(row["high_l"] / row["low_l"]) for row in seen[:10]]
    assert np.mean(narrow) < np.mean(width)


def test_weather_far_away_or_of_another_organisation_says_nothing(organisation, other_organisation, lonely):
    metered(lonely, [6.2] * 20)
    brought(organisation, [2.0] * 20, name="far", latitude_deg=12.0, longitude_deg=10.0)
    brought(other_organisation, [2.0] * 20, name="theirs")
    assert Arrival.objects.filter(pk=lonely.pk).exists()  # by the meter figures
    services.judge([lonely.pk], FIRST + timedelta(days=20))
    assert set(Evaluation.objects.filter(measured_l__isnull=False).values_list("sun_by", flat=True)) == {"climate"}


# -- the page and the command ------------------------------------------------------------------------------------------


def test_nadia_brings_a_file_in_and_forgets_it(client_of, nadia, otto, organisation):
    client, address = client_of(nadia), reverse("output:weather")
    assert "No weather has been brought in" in client.get(address).content.decode()
    file = SimpleUploadedFile("nakwara.json", weather.power_json([5.0, 4.0], FIRST).encode())
    sent = {"file": file, "kind": "power_json", "name": "Nakwara"}
    page = client.post(address, sent, follow=True).content.decode()
    assert "2 new days" in page
    place = WeatherPlace.objects.get()
    theirs = client_of(otto)
    assert "Nakwara" not in theirs.get(address).content.decode()
    assert theirs.post(reverse("output:forget_weather", args=[place.pk])).status_code == 404
    client.post(reverse("output:forget_weather", args=[place.pk]))
    assert not WeatherDay.objects.exists()


def test_a_file_that_is_none_is_told_beside_its_field(client_of, nadia, wanja):
    file = SimpleUploadedFile("holiday.jpg", b"\xff\xd8\xff" * 40)
    sent = {"file": file, "kind": "cams_csv", "name": "Nakwara"}
    page = client_of(nadia).post(reverse("output:weather"), sent)
    assert page.status_code == 422
    assert "not readable as cams_csv" in page.content.decode()
    assert 'value="Nakwara"' in page.content.decode()
    assert client_of(wanja).get(reverse("output:weather")).status_code == 403


def test_the_command_says_what_it_kept_and_refuses_with_a_sentence(organisation, tmp_path, capsys):
    file = tmp_path / "nakwara.csv"
    file.write_text(weather.pvgis_hourly([5.0, 4.0, 3.0], FIRST))
    call_command("import_weather", str(file), "--kind", "pvgis_hourly")
    assert "2024-05-01 to 2024-05-03, 3 new days" in capsys.readouterr().out
    for wrong, said in ((tmp_path / "nowhere", "cannot be read"), (file, "cannot be used")):
        with pytest.raises(CommandError, match=said):
            call_command("import_weather", str(wrong), "--kind", "power_json")


# -- fetched -----------------------------------------------------------------------------------------------------------


@contextmanager
def standing_in(settings, service, path, answer):
    """A server on this machine in place of the weather service: answer(path, what is asked) gives status and body."""

    class Answers(BaseHTTPRequestHandler):
        def do_GET(self):
            address = urlsplit(self.path)
            status, body = answer(address.path, {k: v[0] for k, v in parse_qs(address.query).items()})
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.end_headers()
            self.wfile.write(body.encode())

        def log_message(self, *_):
            pass

    server = HTTPServer(("127.0.0.1", 0), Answers)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    settings.WEATHER_SERVICE = service
    settings.WEATHER_ADDRESS = f"http://127.0.0.1:{server.server_port}{path}"
    try:
        yield
    finally:
        server.shutdown()
        server.server_close()


@pytest.fixture
def service(settings):
    """A stand-in for the service of days up to now: answers what it is asked, or with a fault."""
    asked, fault = [], []

    def answer(_path, wanted):
        asked.append(wanted)
        if fault:
            return fault[0], '{"messages": ["out of order"]}'
        first, last = (date.fromisoformat(f"{v[:4]}-{v[4:6]}-{v[6:]}") for v in (wanted["start"], wanted["end"]))
        place = {"latitude_deg": float(wanted["latitude"]), "longitude_deg": float(wanted["longitude"])}
        return 200, weather.power_json([5.0] * ((last - first).days + 2), first, **place)

    with standing_in(settings, "power", "/hourly", answer):
        yield asked, fault


def test_missing_days_are_fetched_cell_by_cell_and_only_once(organisation, service):
    asked, _fault = service
    for lat, lon in ((3.1, 35.6), (3.15, 35.55), (4.6, 35.6)):  # two cells
        an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=lat, longitude_deg=lon)))
    today = date(2024, 6, 1)
    done = services.fetch_due(organisation, today=today)
    assert len(asked) == len(done) == 2
    assert {(a["latitude"], a["longitude"]) for a in asked} == {("3.0", "35.5"), ("4.5", "35.5")}
    assert WeatherDay.objects.filter(day__gte=today).count() == 0
    last = max(WeatherDay.objects.values_list("day", flat=True))
    assert last == today - timedelta(days=1)
    assert services.fetch_due(organisation, today=today) == {}  # nothing is missing
    assert set(services.fetch_due(organisation, today=today + timedelta(days=1)).values()) == {1}


def test_a_service_that_is_out_of_order_is_asked_again_the_next_night(organisation, service, caplog):
    _asked, fault = service
    an_installation(organisation)
    fault.append(503)
    assert services.fetch_due(organisation, today=date(2024, 6, 1)) == {}
    assert "could not be fetched" in caplog.text
    fault.clear()
    assert services.fetch_due(organisation, today=date(2024, 6, 1))


@pytest.fixture
def past_years(settings):
    """A stand-in for the service that has whole years and ends in 2023: answers as it is told in `how`."""
    asked, how = [], {"status": 200, "body": None}

    def answer(path, wanted):
        asked.append((path, wanted))
        first, last = int(wanted["startyear"]), int(wanted["endyear"])
        if last > 2023:
            return 400, '{"message": "endyear: Incorrect value. Please, enter an integer up to 2023."}'
        if how["body"] is not None:
            return how["status"], how["body"]
        days = (date(last, 12, 31) - date(first, 1, 1)).days + 2
        place = (float(wanted["lat"]), float(wanted["lon"]))
        return how["status"], weather.pvgis_hourly_json([4.5] * days, date(first, 1, 1), *place)

    with standing_in(settings, "pvgis", "/api", answer):
        yield asked, how


def test_a_service_of_past_years_is_asked_for_them_on_level_ground_and_kept_once(organisation, past_years):
    asked, _how = past_years
    an_installation(organisation, well=a_well(a_site(organisation, latitude_deg=3.1, longitude_deg=35.6)))
    assert services.fetch_years(organisation, first_year=2022, last_year=2023) == {"+03.00 +035.50 pvgis": 730}
    ((path, wanted),) = asked
    assert path == "/api/seriescalc"
    told = {"lat": "3.0", "lon": "35.5", "startyear": "2022", "endyear": "2023", "angle": "0", "components": "0"}
    assert told.items() <= wanted.items()
    place = WeatherPlace.objects.get()
    assert (place.source, place.covers_km) == ("pvgis", 5)
    days = WeatherDay.objects.order_by("day")
    assert (days.first().day, days.last().day) == (date(2022, 1, 1), date(2023, 12, 31))
    assert days.first().irradiation_kwh_m2 == pytest.approx(4.5, rel=1e-3) and days.first().air_c == 29
    assert set(services.fetch_years(organisation, first_year=2022, last_year=2023).values()) == {0}


def test_a_service_of_past_years_is_never_asked_at_night(organisation, past_years, client_of, nadia):
    asked, _how = past_years
    an_installation(organisation)
    assert services.fetch_due(organisation) == {} and asked == []
    with pytest.raises(CommandError, match="past years only"):
        call_command("fetch_weather")
    assert "Every night" not in client_of(nadia).get(reverse("output:weather")).content.decode()


@pytest.mark.parametrize(("status", "body", "said"), [
    (503, "busy", "503"), (400, '{"message": "Location over the sea."}', "over the sea"), (200, "<html>", ""),
    (200, '{"inputs": {}, "outputs": {"hourly": []}, "meta": {"inputs": {}}}', ""),
])  # fmt: skip
def test_past_years_that_cannot_be_had_are_said_and_leave_what_is_known(
    status, body, said, organisation, past_years, caplog, capsys
):
    _asked, how = past_years
    an_installation(organisation)
    call_command("fetch_weather", "--years", "2023", "2023")
    assert "365 new days" in capsys.readouterr().out
    how |= {"status": status, "body": body}
    call_command("fetch_weather", "--years", "2023", "2023")
    assert said in capsys.readouterr().out
    assert "could not be fetched" in caplog.text
    assert WeatherDay.objects.count() == 365


def test_years_that_the_service_has_not_are_told_in_its_own_words(organisation, past_years, capsys):
    an_installation(organisation)
    call_command("fetch_weather", "--years", "2023", "2024")
    assert "up to 2023" in capsys.readouterr().out
    assert not WeatherDay.objects.exists()


@pytest.mark.parametrize("years", [("2024", "2023"), ("19", "2023")])
def test_years_the_wrong_way_round_are_refused(organisation, past_years, years):
    asked, _how = past_years
    an_installation(organisation)
    with pytest.raises(CommandError, match="first year and the last"):
        call_command("fetch_weather", "--years", *years)
    assert asked == []


def test_the_nightly_service_gives_past_years_too_and_never_days_to_come(organisation, service):
    asked, _fault = service
    an_installation(organisation)
    services.fetch_years(organisation, first_year=2023, last_year=2024, today=date(2024, 3, 1))
    assert (asked[0]["start"], asked[0]["end"]) == ("20230101", "20240229")
    assert max(WeatherDay.objects.values_list("day", flat=True)) == date(2024, 2, 29)
    assert services.fetch_years(organisation, first_year=2025, last_year=2025, today=date(2024, 3, 1)) == {}


def test_without_a_service_nothing_is_asked(organisation, settings):
    settings.WEATHER_SERVICE = ""
    an_installation(organisation)
    assert services.fetch_due(organisation) == {}
    with pytest.raises(CommandError, match="WEATHER_SERVICE"):
        call_command("fetch_weather")


def test_a_program_brings_a_file_in_reads_what_is_known_and_forgets_it(organisation, nadia, idris, otto, api_of):
    api, address = api_of(nadia), "/api/v1/weather/"
    file = lambda: SimpleUploadedFile("w.json", weather.power_json([5.0, 4.0], FIRST).encode())  # noqa: E731 - read once each
    for counts in ({"new": 2, "same": 0}, {"new": 0, "same": 2}):
        answer = api.post(address, {"file": file(), "kind": "power_json", "name": "Nakwara"}, format="multipart")
        assert answer.status_code == 201 and counts.items() <= answer.json().items()
    (place,) = api.get(address).json()["results"]
    assert (place["name"], place["first"], place["last"], place["known"]) == ("Nakwara", "2024-05-01", "2024-05-02", 2)
    one = f"/api/v1/weather/{place['id']}/"
    assert api.get(one).json() == place
    assert api_of(idris).get(address).status_code == 403 and api_of(otto).get(one).status_code in {403, 404}
    assert api.delete(one).status_code == 204 and not WeatherPlace.objects.exists()


@pytest.mark.parametrize(("changes", "field"), [
    ({"file": b"no weather"}, "file"), ({"kind": "rumour"}, "kind"), ({"name": ""}, "name"),
    ({"file": b"0" * (25 * 1024 * 1024 + 1)}, "file"),
])  # fmt: skip
def test_a_program_hears_what_is_wrong_with_its_file(changes, field, organisation, nadia, api_of):
    known = {"file": weather.power_json([5.0], FIRST).encode(), "kind": "power_json", "name": "Nakwara"} | changes
    known["file"] = SimpleUploadedFile("w.json", known["file"])
    answer = api_of(nadia).post("/api/v1/weather/", known, format="multipart")
    assert answer.status_code in {400, 409} and answer.json()["errors"][0]["field"] == field
    assert answer.json()["errors"][0]["sentence"] and not WeatherPlace.objects.exists()
