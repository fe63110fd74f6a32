"""The registry's pages: each role's way, what is refused, what stays on the form, and what a list costs."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.registry.models import Installation, Site, Unit, Well
from tests.makers.registry import START, a_district, a_pump_type, a_site, a_unit, a_well, an_installation

pytestmark = pytest.mark.django_db


def text(answer):
    return answer.content.decode()


@pytest.fixture
def hanging(organisation):
    return an_installation(organisation)


def pages_of(hanging):
    site, unit = hanging.well.site, hanging.unit
    return [
        reverse("registry:sites"), reverse("registry:site", args=[site.code]), reverse("registry:units"),
        reverse("registry:unit", args=[unit.pk]), reverse("registry:installation", args=[hanging.pk]),
        reverse("registry:catalogue"), reverse("registry:shelf", args=["module-types"]),
        reverse("registry:shelf", args=["pipes"]), reverse("registry:shelf", args=["cables"]),
        reverse("registry:shelf", args=["districts"]), reverse("registry:pump_type", args=[unit.pump_type_id]),
        reverse("registry:find") + f"?q={unit.serial[:5]}",
    ]  # fmt: skip


def test_every_role_reads_and_strangers_find_nothing(hanging, nadia, idris, wanja, amara, otto, client_of, client):
    for address in pages_of(hanging):
        for person in (nadia, idris, wanja, amara):
            assert client_of(person).get(address).status_code == 200, (address, person)
        answer = client_of(otto).get(address)
        assert answer.status_code in {200, 404}
        assert hanging.unit.serial not in text(answer).replace(f'value="{hanging.unit.serial[:5]}"', "")
        assert client.get(address).status_code == 302


FORMS = [
    ("registry:add_site", lambda h: []), ("registry:change_site", lambda h: [h.well.site.code]),
    ("registry:add_well", lambda h: [h.well.site.code]), ("registry:change_well", lambda h: [h.well.pk]),
    ("registry:tank", lambda h: [h.well.pk]), ("registry:climate", lambda h: [h.well.site.code]),
    ("registry:add_unit", lambda h: []), ("registry:change_unit", lambda h: [h.unit.pk]),
    ("registry:unit_points", lambda h: [h.unit.pk]), ("registry:pump_points", lambda h: [h.unit.pump_type_id]),
    ("registry:add_to_catalogue", lambda h: ["pump-types"]), ("registry:add_to_catalogue", lambda h: ["cables"]),
    ("registry:change_in_catalogue", lambda h: ["module-types", h.module_type_id]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "arguments"), FORMS)
def test_forms_open_for_editors_and_for_nobody_else(hanging, nadia, idris, wanja, otto, client_of, name, arguments):
    address = reverse(name, args=arguments(hanging))
    assert client_of(nadia).get(address).status_code == 200
    assert client_of(idris).get(address).status_code == 403
    assert client_of(wanja).post(address, {}).status_code == 403
    if arguments(hanging) not in ([], ["pump-types"], ["cables"]):
        assert client_of(otto).get(address).status_code == 404


def test_a_site_is_added_and_a_fault_keeps_what_was_typed(organisation, nadia, client_of):
    district = a_district(organisation)
    typed = {"code": "NK-9", "name": "Nakwara school", "district": district.pk, "latitude_deg": "3.1",
             "longitude_deg": "-35.6", "altitude_m": "600", "people_served": "200", "animals_served": "0",
             "need_m3_day": "5"}  # fmt: skip
    browser = client_of(nadia)
    answer = browser.post(reverse("registry:add_site"), typed)
    assert answer.status_code == 422
    assert "lie on the sea" in text(answer) and "Nakwara school" in text(answer)
    answer = browser.post(reverse("registry:add_site"), typed | {"longitude_deg": "35.6"}, follow=True)
    assert "Africa/Nairobi" in text(answer)
    site = Site.objects.get(code="NK-9")
    assert (site.organisation, site.need_m3_day) == (organisation, [5.0] * 12)
    answer = browser.post(reverse("registry:add_site"), typed | {"longitude_deg": "35.6"})
    assert answer.status_code == 422


def test_correcting_the_coordinates_finds_the_zone_anew(organisation, nadia, client_of):
    site = a_site(organisation)
    typed = {"code": site.code, "name": site.name, "district": site.district_id, "latitude_deg": "12.7",
             "longitude_deg": "-2.4", "altitude_m": "343", "people_served": "1", "animals_served": "0"}  # fmt: skip
    client_of(nadia).post(reverse("registry:change_site", args=[site.code]), typed)
    site.refresh_from_db()
    assert site.zone == "Africa/Ouagadougou"


def test_anothers_district_is_not_offered(organisation, other_organisation, nadia, client_of):
    theirs = a_district(other_organisation)
    typed = {"code": "NK-9", "name": "N", "district": theirs.pk, "latitude_deg": "3.1", "longitude_deg": "35.6",
             "altitude_m": "0", "people_served": "0", "animals_served": "0"}  # fmt: skip
    answer = client_of(nadia).post(reverse("registry:add_site"), typed)
    assert answer.status_code == 422 and not Site.objects.filter(code="NK-9").exists()


def test_well_level_and_tank(organisation, nadia, idris, client_of):
    site = a_site(organisation)
    client_of(nadia).post(reverse("registry:add_well", args=[site.code]), {
        "name": "1", "kind": "drilled", "inside_diameter_mm": "150", "depth_m": "60", "datum_above_ground_m": "0.4",
        "drawdown_law": "linear"})  # fmt: skip
    well = Well.objects.get(site=site)
    client_of(nadia).post(reverse("registry:tank", args=[well.pk]), {
        "rise_m": "5", "pipe_run_m": "20", "capacity_m3": "10", "float_switch": "on", "fittings_k": "5"})  # fmt: skip
    browser = client_of(idris)
    answer = browser.post(reverse("registry:add_level", args=[well.pk]), {"measured_on": "2025-04-03", "level_m": "80"})
    assert answer.status_code == 422 and "Below the bottom" in text(answer)
    browser.post(reverse("registry:add_level", args=[well.pk]), {"measured_on": "2025-04-03", "level_m": "18.4"})
    page = text(browser.get(reverse("registry:site", args=[site.code])))
    assert "18.4" in page and "10.0 m³" in page


BUILT = {"modules_in_series": "3", "strings": "1", "tilt_deg": "15", "azimuth_deg": "180", "instrument_level": "meter",
         "boxes_shaded": "unknown"}  # fmt: skip


def test_a_unit_is_hung_and_moved_on_its_pages(organisation, idris, client_of):
    unit, first, second = a_unit(organisation), a_well(organisation=organisation), a_well(organisation=organisation)
    browser, address = client_of(idris), reverse("registry:install", args=[unit.pk])
    assert browser.get(address).status_code == 200
    typed = BUILT | {"well": first.site.code, "at": "2025-04-03T09:30", "mounting_height_m": "1"}
    answer = browser.post(address, typed, follow=True)
    made = Installation.objects.get(unit=unit)
    assert f"{made.period.lower:%Y-%m-%d %H:%M}" == "2025-04-03 06:30"  # the site's half past nine
    assert "out of reach" in text(answer)  # a warning of the trade, and yet kept
    answer = browser.post(address, BUILT | {"well": "nowhere", "at": "2025-05-03T09:30", "why": "dry"})
    assert answer.status_code == 422 and "no well of this site code" in text(answer)
    answer = browser.post(address, BUILT | {"well": second.site.code, "at": "2025-05-03T09:30", "why": "dry"})
    assert Installation.objects.hanging().get().well == second
    answer = browser.post(reverse("registry:take_out", args=[unit.pk]), {"at": "2025-06-03T09:30", "why": "workshop"})
    unit.refresh_from_db()
    assert unit.status == Unit.Status.STORED
    browser.post(reverse("registry:retire", args=[unit.pk]), {"at": "2025-06-04T09:30", "why": "worn out"})
    unit.refresh_from_db()
    assert unit.status == Unit.Status.RETIRED


def test_a_taken_well_is_said_on_the_form(hanging, organisation, idris, client_of):
    unit = a_unit(organisation)
    typed = BUILT | {"well": hanging.well.site.code, "at": "2025-04-03T09:30", "setting_depth_m": "33"}
    answer = client_of(idris).post(reverse("registry:install", args=[unit.pk]), typed)
    assert answer.status_code == 422
    assert hanging.unit.serial in text(answer) and 'value="33"' in text(answer).replace("33.0", "33")


def test_facts_are_corrected(hanging, idris, client_of):
    client_of(idris).post(reverse("registry:correct", args=[hanging.pk]), BUILT | {"tilt_deg": "20"})
    hanging.refresh_from_db()
    assert hanging.tilt_deg == 20


def test_the_test_sheet_is_typed_in_lines(organisation, nadia, client_of):
    kind = a_pump_type(organisation, points=False)
    address = reverse("registry:pump_points", args=[kind.pk])
    answer = client_of(nadia).post(address, {"points": "10 100 9,5\n20 100"})
    assert answer.status_code == 422 and "Line 2" in text(answer)
    client_of(nadia).post(address, {"points": "10 100 9,5\n20 100 5 48 2.1"})
    assert [(p.flow_l_min, p.voltage_v) for p in kind.points.all()] == [(9.5, None), (5.0, 48.0)]
    assert "48.0 V" in text(client_of(nadia).get(reverse("registry:pump_type", args=[kind.pk])))


def test_found_with_slips_of_the_pen(organisation, nadia, client_of):
    site = a_site(organisation, code="NK-014", name="Lokesheni", village="Nakwara", caretaker_name="Ekal Lomeri")
    hanging = an_installation(organisation, well=a_well(site), unit=a_unit(organisation, serial="KX40731"))
    a_site(organisation, code="ZZ-1", name="Bulto", village="Garissa Ndogo", caretaker_name="Asha Noor")
    browser = client_of(nadia)
    for words in ("nakwra", "Lokesheny", "ekal lomery", "NK-014", "kx4073"):
        page = text(browser.get(reverse("registry:find"), {"q": words}))
        assert "NK-014" in page, words
        assert "ZZ-1" not in page, words
    for words in (hanging.unit.serial, "kx40731"):
        assert browser.get(reverse("registry:find"), {"q": words}).status_code == 302
    assert "Nothing found" in text(browser.get(reverse("registry:find"), {"q": "qqqqqq"}))


def test_a_label_leads_to_its_unit(hanging, nadia, otto, client_of, client):
    answer = client_of(nadia).get(reverse("registry:label", args=[hanging.unit.pk]))
    assert answer.content.startswith(b"%PDF")
    code = hanging.unit.label.code
    assert client_of(nadia).get(f"/u/{code}").status_code == 302
    assert client_of(nadia).get(f"/u/{code.lower()}/").status_code == 302
    assert client_of(otto).get(f"/u/{code}").status_code == 404
    assert client.get(f"/u/{code}").url.startswith(reverse("people:log_in"))
    wrong = ("2" if code[0] != "2" else "3") + code[1:]
    assert "slip" in text(client_of(nadia).get(f"/u/{wrong}"))
    assert client_of(nadia).get(reverse("registry:labels")).content.startswith(b"%PDF")


def test_lists_are_taken_away_whole(organisation, nadia, client_of):
    an_installation(organisation, well=a_well(a_site(organisation, name='=HYPERLINK("x")')))
    for list_, forms in (("sites", ("csv", "xlsx", "geojson")), ("units", ("csv", "xlsx", "geojson"))):
        for form in forms:
            answer = client_of(nadia).get(reverse(f"registry:{list_}"), {"format": form})
            body = b"".join(answer.streaming_content)
            assert answer.status_code == 200 and len(body) > 100
            if (list_, form) == ("sites", "csv"):
                assert "'=HYPERLINK" in body.decode()  # words, not a formula
    assert b"Brook" in b"".join(client_of(nadia).get("/catalogue/pump-types/?format=csv").streaming_content)


def test_photos_on_a_sites_page(organisation, idris, nadia, otto, client_of):
    from PIL import Image

    site, out = a_site(organisation), io.BytesIO()
    Image.new("RGB", (40, 30), "#369").save(out, "PNG")
    address = reverse("registry:attach_to_site", args=[site.code])
    answer = client_of(idris).post(address, {"file": SimpleUploadedFile("a.jpg", b"no image"), "caption": "mast"})
    assert answer.status_code == 422 and "neither a photo" in text(answer)
    client_of(idris).post(address, {"file": SimpleUploadedFile("a.png", out.getvalue()), "caption": "mast"})
    kept = site.attachments.get()
    shown = client_of(nadia).get(reverse("registry:attachment", args=[kept.pk]))
    assert shown["Content-Type"] == "image/png" and b"".join(shown.streaming_content)[:4] == b"\x89PNG"
    assert client_of(otto).get(reverse("registry:attachment", args=[kept.pk])).status_code == 404
    assert client_of(idris).post(reverse("registry:withdraw", args=[kept.pk])).status_code == 403
    client_of(nadia).post(reverse("registry:withdraw", args=[kept.pk]))
    assert not site.attachments.exists()


@pytest.mark.parametrize("name", ["registry:sites", "registry:units"])
def test_a_long_list_costs_what_a_short_one_does(organisation, nadia, client_of, django_assert_max_num_queries, name):
    for _n in range(3):
        an_installation(organisation)
    browser, address = client_of(nadia), reverse(name)
    browser.get(address)
    with django_assert_max_num_queries(8) as short:
        browser.get(address)
    few = len(short.captured_queries)
    for _n in range(12):
        an_installation(organisation, start=START)
    with django_assert_max_num_queries(few):
        assert text(browser.get(address)).count("<tr>") == 16


def test_who_likes_feet_fills_in_the_register_in_feet_and_it_keeps_metres(hanging, nadia, client_of):
    nadia.length_unit = "ft"
    nadia.save()
    well, browser = hanging.well, client_of(nadia)
    before = well.depth_m
    page = text(browser.get(reverse("registry:change_well", args=[well.pk])))
    assert "Depth, ft" in page
    assert f'value="{round(before / 0.3048, 2):.10g}"' in page
    level = {"measured_on": "2026-03-01", "level_m": "60,5"}
    answer = browser.post(reverse("registry:add_level", args=[well.pk]), level)
    assert answer.status_code == 302, text(answer)[:2000]
    assert well.static_levels.get(measured_on="2026-03-01").level_m == pytest.approx(18.4404)
