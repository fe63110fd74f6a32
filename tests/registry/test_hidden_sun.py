"""Skyline and windows of shade: written down, drawn, brought in and out, held to by the database."""

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction

from fleet.intake.errors import Unreadable
from fleet.registry import hiding
from fleet.registry.engineering import skyline
from fleet.registry.models import Site
from fleet.registry.tables.composed import PLACE
from tests.makers.registry import a_site

WINDOWS = [[7.5, 9.5, 0.8]]
COLUMNS = {column.name: column for column in PLACE}


@pytest.mark.parametrize(
    ("words", "pairs"),
    [
        ("95 12\n110 20", [[95, 12], [110, 20]]),
        ("95:12, 110:20", [[95, 12], [110, 20]]),
        ("95:12; 110:20.5", [[95, 12], [110, 20.5]]),
        ("95° 12,5°", [[95, 12.5]]),
        ("", []),
    ],
)
def test_a_skyline_is_read_as_people_write_it(words, pairs):
    assert hiding.read_skyline(words) == (pairs, [])


@pytest.mark.parametrize(
    ("words", "windows"),
    [
        ("7:30-9:30 80%", WINDOWS),
        ("7.5 9.5 80", WINDOWS),
        ("7:30 – 9:30: 80 %\n15-16,5 100", [*WINDOWS, [15, 16.5, 1]]),
        ("", []),
    ],
)
def test_windows_of_shade_are_read_as_people_write_them(words, windows):
    assert hiding.read_windows(words) == (windows, [])


def test_every_wrong_entry_is_named_with_what_stood_there():
    _pairs, faults = hiding.read_skyline("95 12; 95 14; 400 3; 30 95; hill")
    assert len(faults) == 4
    assert any("hill" in fault and "like 95 12" in fault for fault in faults)
    assert any(fault.startswith("2:") and "twice" in fault for fault in faults)
    assert any(fault.startswith("3:") and "360" in fault for fault in faults)
    assert any(fault.startswith("4:") and "90" in fault for fault in faults)
    _windows, faults = hiding.read_windows("9-7 80; 7-9 0; 7-9 120; 20-25 50; 7:75-9 50")
    assert len(faults) == 5
    assert any("before it begins" in fault for fault in faults)
    assert hiding.faults_of_windows([[-1e308, 1e308, 0.5]])  # whatever a program sends


def test_what_is_written_out_reads_back_the_same():
    pairs = [[0.0, 3.0], [95.0, 12.5]]
    assert hiding.read_skyline(hiding.skyline_words(pairs)) == (pairs, [])
    assert hiding.read_windows(hiding.windows_words(WINDOWS)) == (WINDOWS, [])


@pytest.mark.parametrize(
    ("field", "value", "constraint"),
    [
        ("skyline", [[400, 12]], "skyline_of_pairs"),
        ("skyline", [[95, 12, 3]], "skyline_of_pairs"),
        ("skyline", {"95": 12}, "skyline_of_pairs"),
        ("shade_windows", [[9, 7, 0.5]], "shade_windows_of_hours"),
        ("shade_windows", [[7, 9, 1.5]], "shade_windows_of_hours"),
        ("shade_windows", [[7, 9, "half"]], "shade_windows_of_hours"),
        ("shade_windows", [7, 9, 0.5], "shade_windows_of_hours"),
    ],
)
def test_the_database_refuses_what_cannot_be(organisation, field, value, constraint):
    site = a_site(organisation)
    with pytest.raises(IntegrityError, match=constraint), transaction.atomic():
        Site.objects.filter(pk=site.pk).update(**{field: value})
    setattr(site, field, value)
    with pytest.raises(ValidationError):
        site.validate_constraints()
    Site.objects.filter(pk=site.pk).update(skyline=[[95, 12]], shade_windows=WINDOWS)


def test_the_page_keeps_both_draws_them_and_leaves_a_trail(organisation, idris, otto, client_of):
    site = a_site(organisation)
    client = client_of(idris)
    typed = {"skyline": "95 12\n110 20\n130 0", "shade_windows": "7:30-9:30 80%"}
    assert client.post(f"/sites/{site.code}/skyline/", typed).status_code == 302
    site.refresh_from_db()
    assert site.skyline == [[95, 12], [110, 20], [130, 0]] and site.shade_windows == WINDOWS
    page = client.get(f"/sites/{site.code}/").content.decode()
    assert 'role="img"' in page and "sky-window" in page and "sky-hills" in page
    assert "Windows of shade: 7:30-9:30 80%." in page
    assert "of the light on the modules" in page.lower()
    assert "7:30-9:30 80%" in client.get(f"/sites/{site.code}/skyline/").content.decode()
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM trail_change WHERE \"table\" = 'registry_site' AND kind = 'U' AND row_id = %s "
            "AND after ? 'shade_windows'",
            [str(site.pk)],
        )
        assert cursor.fetchone()[0] == 1
    assert client_of(otto).post(f"/sites/{site.code}/skyline/", typed).status_code == 404


def test_the_page_names_each_wrong_entry_and_keeps_what_was_typed(organisation, idris, client_of):
    site = a_site(organisation)
    typed = {"skyline": "95 12\n400 3\nhill", "shade_windows": "9-7 80"}
    page = client_of(idris).post(f"/sites/{site.code}/skyline/", typed)
    assert page.status_code == 422
    assert len(page.context["form"].errors["skyline"]) == 2 and page.context["form"].errors["shade_windows"]
    assert "400 3" in page.content.decode()
    site.refresh_from_db()
    assert site.skyline == []


def test_the_paths_of_the_sun_stand_where_the_sun_does(organisation):
    """At the equator the equinox sun goes from due east over the zenith to due west (definition)."""
    site = a_site(organisation, latitude_deg=0.0, longitude_deg=36.0)
    june, equinox, _december = skyline.picture(site)["paths"]
    points = [tuple(map(float, p.split())) for p in equinox.way.strip("M").split("L")]
    assert points[0] == pytest.approx((360, 200), abs=0.2) and points[-1] == pytest.approx((40, 200), abs=0.2)
    assert min(abs(x - 200) for x, _y in points) < 2
    assert june.up_h == pytest.approx(12) and june.hidden_h == 0
    assert (june.begins, june.ends) == ("6:00", "18:00")


def test_a_wall_in_the_east_hides_the_morning(organisation):
    site = a_site(organisation, latitude_deg=0.0, longitude_deg=36.0)
    site.skyline = [[0, 0], [40, 45], [140, 45], [180, 0]]
    equinox = skyline.picture(site)["paths"][1]
    assert equinox.begins[:3] in ("9:0", "8:5") and equinox.ends == "18:00"
    assert equinox.hidden_h == pytest.approx(3, abs=0.1)
    lost = skyline.light_lost(site, 0.0, 180.0)
    assert ((lost > 0.1) & (lost < 0.4)).all()
    site.skyline = []
    assert skyline.light_lost(site) is None


def test_the_column_of_a_table_reads_the_same_words():
    assert COLUMNS["skyline"].read("95 12; 110 20", None) == [[95, 12], [110, 20]]
    assert COLUMNS["shade_windows"].read("7:30-9:30 80%", None) == WINDOWS
    assert COLUMNS["skyline"].read("", None) is None
    with pytest.raises(Unreadable, match="2: 400 3"):
        COLUMNS["skyline"].read("95 12; 400 3", None)
