"""The registry kept by programs: each verb of the pages with its refusals; warnings of the trade beside the answer."""

from datetime import timedelta

import pytest

from fleet.registry.models import Installation, PumpType, Site, StaticLevel, Tank, Unit, Well
from fleet.registry.services import label_of
from tests.makers.registry import START, a_district, a_pump_type, a_unit, a_well, an_installation

ROOT = "/api/v1/"
LATER = (START + timedelta(days=100)).isoformat()
HERE = {"latitude_deg": 3.1, "longitude_deg": 35.6}


@pytest.fixture
def nadias(nadia, api_of):
    """Nadia's program: `nadias.post(address, body)` and so on, as (status, body)."""
    return Program(api_of(nadia))


class Program:
    def __init__(self, api):
        self.api = api

    def __getattr__(self, verb):
        def send(address, body=None):
            answer = getattr(self.api, verb)(ROOT + address, body, format="json")
            return answer.status_code, answer.json() if answer.content else None

        return send


def code_of(answer):
    return answer[1]["errors"][0]["code"]


# -- sites, wells, levels, tanks ---------------------------------------------------------------------------------------


def test_a_site_comes_with_its_zone_and_is_corrected(nadias, organisation):
    district = a_district(organisation, name="Karum")
    body = {"code": "KR-001", "name": "Nadapal", "district": "Karum", "people_served": 300, "need_m3_day": [5] * 12}
    body |= HERE
    status, made = nadias.post("sites/", body)
    assert (status, made["zone"], made["district"]) == (201, "Africa/Nairobi", "Karum")
    status, found = nadias.patch("sites/KR-001/", {"people_served": 320})
    assert status == 200 and found["people_served"] == 320 and found["name"] == "Nadapal"
    assert Site.objects.get(code="KR-001").district == district
    assert nadias.get("sites/KR-001/")[1]["wells"] == []


WRONG_SITES = [
    ({"latitude_deg": 0.0, "longitude_deg": 60.0}, 409, "latitude_deg"),  # on the sea
    ({"latitude_deg": 123}, 409, "latitude_deg"), ({"latitude_deg": "NaN"}, 400, "latitude_deg"),
    ({"latitude_deg": "1e999"}, 400, "latitude_deg"), ({"latitude_deg": None}, 400, "latitude_deg"),
    ({"district": "Nowhere"}, 400, "district"), ({"district": {"a": 1}}, 400, "district"),
    ({"code": "a/b"}, 400, "code"), ({"code": ""}, 400, "code"), ({"code": "x" * 30}, 400, "code"),
    ({"need_m3_day": [5] * 11}, 409, "need_m3_day"), ({"need_m3_day": ["much"] * 12}, 400, "need_m3_day.0"),
    ({"people_served": -1}, 400, "people_served"), ({"people_served": 3e9}, 400, "people_served"),
]  # fmt: skip


@pytest.mark.parametrize(("change", "status", "field"), WRONG_SITES)
def test_a_wrong_site_is_refused_with_field_and_sentence(change, status, field, nadias, organisation):
    a_district(organisation, name="Karum")
    body = {"code": "KR-001", "name": "Nadapal", "district": "Karum", **HERE, **change}
    found = nadias.post("sites/", body)
    assert found[0] == status, found
    assert found[1]["errors"][0]["field"] == field and found[1]["errors"][0]["sentence"]
    assert not Site.objects.exists()


def test_the_same_code_twice_is_refused(nadias, organisation):
    a_district(organisation, name="Karum")
    body = {"code": "KR-001", "name": "Nadapal", "district": "Karum", **HERE}
    assert nadias.post("sites/", body)[0] == 201
    assert nadias.post("sites/", body)[0] == 409
    assert Site.objects.count() == 1


def test_coordinates_that_look_swapped_are_kept_with_a_warning(nadias, organisation):
    for _n in range(12):
        an_installation(organisation)
    a_district(organisation, name="Karum")
    body = {"code": "KR-9", "name": "Nadapal", "district": "Karum", "latitude_deg": 35.6, "longitude_deg": 3.1}
    status, made = nadias.post("sites/", body)
    assert status == 201 and made["warnings"][0]["field"] == "latitude_deg"


def test_a_well_comes_with_levels_and_tank_in_one_go_or_not_at_all(nadias, organisation):
    site = a_well(organisation=organisation).site
    body = {"name": "east", "depth_m": 60, "inside_diameter_mm": 150, "tank": {"rise_m": 5, "capacity_m3": 10},
            "static_levels": [{"measured_on": "2026-01-10", "level_m": 22.5}]}  # fmt: skip
    status, made = nadias.post(f"sites/{site.code}/wells/", body)
    assert status == 201 and made["tank"]["rise_m"] == 5 and made["static_levels"][0]["level_m"] == 22.5
    before = Well.objects.count()
    body = body | {"name": "west", "static_levels": [{"measured_on": "2026-01-10", "level_m": 99}]}
    refused = nadias.post(f"sites/{site.code}/wells/", body)
    assert refused[0] == 409 and code_of(refused) == "below_bottom"
    assert Well.objects.count() == before
    assert nadias.patch(f"wells/{made['id']}/", {"depth_m": 65})[1]["depth_m"] == 65
    assert nadias.patch(f"wells/{made['id']}/", {"depth_m": -65})[0] == 409
    status, found = nadias.put(f"wells/{made['id']}/tank/", {"capacity_m3": 12})
    assert status == 200 and (found["tank"]["capacity_m3"], found["tank"]["rise_m"]) == (12, 5)


def test_a_level_is_added_by_a_technician_and_taken_away_by_a_coordinator(nadias, idris, api_of, organisation):
    well = a_well(organisation=organisation, level_m=None)
    phone = Program(api_of(idris))
    status, found = phone.post(f"wells/{well.pk}/levels/", {"measured_on": "2026-01-10", "level_m": 23})
    assert status == 201 and len(found["static_levels"]) == 1
    phone.post(f"wells/{well.pk}/levels/", {"measured_on": "2026-01-10", "level_m": 24})
    level = StaticLevel.objects.get()
    assert level.level_m == 24
    assert phone.delete(f"levels/{level.pk}/")[0] == 403
    assert nadias.delete(f"levels/{level.pk}/")[0] == 204
    assert not StaticLevel.objects.exists()


def test_a_sites_own_sun_and_skyline(nadias, organisation):
    site = a_well(organisation=organisation).site
    sun = {"irradiation_kwh_m2_day": [6] * 12, "source": "measured at the school"}
    assert nadias.put(f"sites/{site.code}/climate/", sun)[1]["climate"]["source"] == "measured at the school"
    refused = nadias.put(f"sites/{site.code}/climate/", sun | {"irradiation_kwh_m2_day": [22] * 12})
    assert refused[0] == 409 and "3.6" in refused[1]["errors"][0]["sentence"]
    assert nadias.put(f"sites/{site.code}/climate/", {})[1]["climate"] is None
    assert nadias.put(f"sites/{site.code}/skyline/", {"skyline": [[95, 12]]})[1]["skyline"] == [[95, 12]]
    assert code_of(nadias.put(f"sites/{site.code}/skyline/", {"skyline": [[400, 12]]})) == "skyline"
    windows = {"shade_windows": [[7.5, 9.5, 0.8]]}
    assert nadias.put(f"sites/{site.code}/shade_windows/", windows)[1]["shade_windows"] == [[7.5, 9.5, 0.8]]
    refused = nadias.put(f"sites/{site.code}/shade_windows/", {"shade_windows": [[9, 7, 0.8]]})
    assert code_of(refused) == "shade_windows"


# -- units, installations ----------------------------------------------------------------------------------------------


def test_a_unit_is_made_hung_moved_and_retired(nadias, organisation):
    a_pump_type(organisation, name="Brook 9")
    one, other = a_well(organisation=organisation), a_well(organisation=organisation)
    status, unit = nadias.post("units/", {"serial": "RX1", "pump_type": "Brook 9", "tested_on": "2024-01-05"})
    assert status == 201 and unit["status"] == "stored"
    assert nadias.post("units/", {"serial": "rx1", "pump_type": "Brook 9"})[0] == 409
    at = f"units/{unit['id']}/"
    assert nadias.put(f"{at}points/", {"points": [{"head_m": 20, "power_w": 200, "flow_l_min": 18}]})[1]["points"]
    status, hung = nadias.post(f"{at}install/", {"site": one.site.code, "at": START.isoformat(), "tilt_deg": 12})
    assert status == 201 and (hung["site"], hung["tilt_deg"], hung["period"]["until"]) == (one.site.code, 12, None)
    refused = nadias.post(f"{at}install/", {"site": other.site.code, "at": LATER})
    assert refused[0] == 409 and code_of(refused) == "unit_elsewhere"
    body = {"site": other.site.code, "at": LATER, "why": "well fell dry", "setting_depth_m": 33}
    status, moved = nadias.post(f"{at}relocate/", body)
    assert status == 201 and moved["site"] == other.site.code
    old = Installation.objects.get(pk=hung["id"])
    assert old.period.upper.isoformat() == LATER and old.closed_why == "well fell dry"
    assert moved["tilt_deg"] == 15  # stands elsewhere: not taken over
    later = (START + timedelta(days=120)).isoformat()
    status, out = nadias.post(f"{at}take-out/", {"at": later, "why": "to the bench"})
    assert status == 200 and out["status"] == "stored" and len(out["installations"]) == 2
    assert nadias.post(f"{at}retire/", {"why": "motor burnt"})[1]["status"] == "retired"
    refused = nadias.post(f"{at}install/", {"site": one.site.code, "at": LATER})
    assert code_of(refused) == "unit_retired"
    assert nadias.post(f"{at}store/")[1]["status"] == "stored"
    assert nadias.patch(at, {"batch": "B7"})[1]["batch"] == "B7"


REFUSED_MOVES = [
    ({"site": "NOWHERE"}, 400, "no_such_well", "site"), ({"well": "9"}, 400, "no_such_well", "site"),
    ({"at": "2030-01-01T00:00:00Z"}, 409, "in_the_future", "at"), ({"at": "2024-06-01T09:00:00"}, 400, "naive", "at"),
    ({"at": "noon"}, 400, "invalid", "at"), ({"at": "2020-01-01T00:00:00Z"}, 409, "before_start", "at"),
    ({"why": ""}, 400, "blank", "why"), ({"pipe": "a hose"}, 400, "does_not_exist", "pipe"),
    ({"tilt_deg": 95}, 409, "invalid", None), ({"strings": 0}, 409, "invalid", None),
]  # fmt: skip


@pytest.mark.parametrize(("change", "status", "code", "field"), REFUSED_MOVES)
def test_a_move_that_cannot_be_leaves_all_as_it_was(change, status, code, field, nadias, organisation):
    old, well = an_installation(organisation), a_well(organisation=organisation)
    body = {"site": well.site.code, "at": LATER, "why": "dry", **change}
    answer = nadias.post(f"units/{old.unit_id}/relocate/", body)
    error = answer[1]["errors"][0]
    assert answer[0] == status and error["sentence"]
    assert (error["code"], error["field"]) == (code, field)
    old.refresh_from_db()
    assert old.hangs_now and Installation.objects.count() == 1


def test_a_site_with_several_wells_asks_which(nadias, organisation):
    unit, well = a_unit(organisation), a_well(organisation=organisation)
    other = a_well(site=well.site)
    body = {"site": well.site.code, "at": LATER}
    refused = nadias.post(f"units/{unit.pk}/install/", body)
    assert refused[0] == 400 and code_of(refused) == "which_well"
    assert nadias.post(f"units/{unit.pk}/install/", body | {"well": other.name})[1]["well"] == other.name


def test_rules_of_the_trade_warn_and_never_forbid(nadias, organisation):
    unit, well = a_unit(organisation), a_well(organisation=organisation)
    body = {"site": well.site.code, "at": LATER, "setting_depth_m": 70, "pipe_length_m": 40, "rope_length_m": 38,
            "cable_length_m": 37, "mounting_height_m": 1.2, "boxes_shaded": False}  # fmt: skip
    status, hung = nadias.post(f"units/{unit.pk}/install/", body)
    assert status == 201
    warned = {warning["field"] for warning in hung["warnings"]}
    assert warned == {"setting_depth_m", "rope_length_m", "cable_length_m", "mounting_height_m", "boxes_shaded"}
    body = {"setting_depth_m": 40, "rope_length_m": 43, "cable_length_m": 48, "mounting_height_m": 3,
            "boxes_shaded": True}  # fmt: skip
    status, put_right = nadias.patch(f"installations/{hung['id']}/", body)
    assert status == 200 and put_right["warnings"] == [] and put_right["pipe_length_m"] == 40


# -- labels ------------------------------------------------------------------------------------------------------------


def test_a_labels_code_leads_to_its_unit_and_a_slip_in_it_is_found(nadias, otto, api_of, organisation):
    hung = an_installation(organisation)
    status, made = nadias.post(f"units/{hung.unit_id}/label/")
    code = made["code"]
    assert status == 200 and code == label_of(unit=hung.unit).code
    for typed in (code, code.lower(), f"{code[:3]}-{code[3:]}"):
        status, found = nadias.get(f"labels/{typed}/")
        assert (status, found["serial"], found["site"]) == (200, hung.unit.serial, hung.well.site.code)
    other = next(sign for sign in "23456789" if sign != code[2])
    wrong = nadias.get(f"labels/{code[:2]}{other}{code[3:]}/")
    assert wrong[0] == 400 and code_of(wrong) == "label_slip" and "seven signs" in wrong[1]["errors"][0]["sentence"]
    assert Program(api_of(otto)).get(f"labels/{code}/")[0] == 404
    assert Program(api_of(otto)).post(f"units/{hung.unit_id}/label/")[0] == 404


# -- the catalogue -----------------------------------------------------------------------------------------------------

MODULE = {"name": "Plain 200", "cells": 36, "p_stc_w": 200, "v_mp_v": 19, "i_mp_a": 10.5, "v_oc_v": 23, "i_sc_a": 11}
THINGS = [
    ("pump-types", {"name": "Brook 3", "kind": "helical", "coupling": "tracking"}, {"max_head_m": 60},
     {"kind": "magic"}),
    ("module-types", MODULE, {"noct_c": 45}, {"p_stc_w": "NaN"}),
    ("pipes", {"name": "PE 25", "outside_mm": 25, "wall_mm": 2.3}, {"pressure_bar": 16}, {"wall_mm": 20}),
    ("cables", {"name": "2 x 6", "area_mm2": 6}, {"conductor_class": 2}, {"conductor_class": 3}),
    ("districts", {"name": "Karum"}, {"p_code": "X1"}, {"name": ""}),
]  # fmt: skip


@pytest.mark.parametrize(("shelf", "body", "change", "wrong"), THINGS, ids=[t[0] for t in THINGS])
def test_the_catalogue_is_kept_and_wrong_things_are_refused(shelf, body, change, wrong, nadias, idris, api_of):
    status, made = nadias.post(f"{shelf}/", body)
    assert status == 201, made
    at = f"{shelf}/{made['id']}/"
    status, found = nadias.patch(at, change)
    assert status == 200 and {name: found[name] for name in change} == change
    for answer in (nadias.patch(at, wrong), nadias.post(f"{shelf}/", body), nadias.post(f"{shelf}/", body | wrong)):
        assert answer[0] in {400, 409} and answer[1]["errors"][0]["sentence"]
    assert nadias.get(f"{shelf}/?name={body['name']}")[1]["results"][0]["id"] == made["id"]
    assert Program(api_of(idris)).post(f"{shelf}/", body)[0] == 403
    assert Program(api_of(idris)).get(at)[0] == 200


def test_a_test_sheet_is_kept_whole(nadias, organisation):
    kept = a_pump_type(organisation)
    sheet = [{"head_m": 20, "power_w": 200, "flow_l_min": 18}, {"head_m": 40, "power_w": 300, "flow_l_min": 14}]
    assert len(nadias.put(f"pump-types/{kept.pk}/points/", {"points": sheet})[1]["points"]) == 2
    refused = nadias.put(f"pump-types/{kept.pk}/points/", {"points": [*sheet, sheet[0]]})
    assert refused[0] == 409 and code_of(refused) == "point_twice"
    assert PumpType.objects.get().points.count() == 2


# -- who may -----------------------------------------------------------------------------------------------------------


def writes(hung, well):
    """(verb, address, body, who else may besides the coordinator)."""
    unit, site = hung.unit_id, well.site.code
    return [
        ("post", "sites/", {"code": "N1", "name": "N", "district": hung.well.site.district.name, **HERE}, ()),
        ("patch", f"sites/{site}/", {"name": "new"}, ()),
        ("post", f"sites/{site}/wells/", {"name": "n"}, ()),
        ("put", f"sites/{site}/climate/", {}, ()),
        ("put", f"sites/{site}/skyline/", {"skyline": []}, ("idris",)),
        ("put", f"sites/{site}/shade_windows/", {"shade_windows": []}, ("idris",)),
        ("patch", f"wells/{well.pk}/", {"depth_m": 61}, ()),
        ("post", f"wells/{well.pk}/levels/", {"measured_on": "2026-01-01", "level_m": 20}, ("idris",)),
        ("put", f"wells/{well.pk}/tank/", {"rise_m": 4}, ()),
        ("post", "units/", {"serial": "N1", "pump_type": hung.unit.pump_type.name}, ()),
        ("patch", f"units/{unit}/", {"batch": "N"}, ()),
        ("put", f"units/{unit}/points/", {"points": []}, ()),
        ("patch", f"installations/{hung.pk}/", {"tilt_deg": 14}, ("idris",)),
        ("post", f"units/{unit}/relocate/", {"site": site, "at": LATER, "why": "dry"}, ("idris",)),
    ]  # fmt: skip


@pytest.mark.parametrize("number", range(13))
def test_each_write_asks_for_its_role_and_strangers_find_nothing(
    number, organisation, nadia, idris, wanja, otto, api_of
):
    hung, well = an_installation(organisation), a_well(organisation=organisation)
    verb, address, body, others = writes(hung, well)[number]

    def sent(person):
        return getattr(api_of(person), verb)(ROOT + address, body, format="json").status_code

    assert sent(wanja) == 403
    if address not in ("sites/", "units/"):
        assert sent(otto) == 404
    else:  # a stranger's own register: the district and the pump type are not theirs to name
        assert sent(otto) == 400
    if "idris" in others:
        assert sent(idris) in {200, 201}
    else:
        assert sent(idris) == 403
        assert sent(nadia) in {200, 201}


def test_nothing_changed_by_the_refused(organisation, idris, otto, api_of):
    hung, well = an_installation(organisation), a_well(organisation=organisation)
    before = [model.objects.count() for model in (Site, Well, Unit, Installation, StaticLevel, Tank)]
    for verb, address, body, others in writes(hung, well):
        getattr(api_of(otto), verb)(ROOT + address, body, format="json")
        if not others:
            getattr(api_of(idris), verb)(ROOT + address, body, format="json")
    assert [model.objects.count() for model in (Site, Well, Unit, Installation, StaticLevel, Tank)] == before
    hung.refresh_from_db()
    assert hung.hangs_now and hung.tilt_deg == 15
