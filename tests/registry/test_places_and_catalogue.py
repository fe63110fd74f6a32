"""Sites, wells, levels, types: what is kept, what is refused, and the rules of the trade that only warn."""

from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from fleet.registry import services, warnings
from fleet.registry.services.labels import check_sign, holds
from fleet.registry.services.places import warnings_of_site
from fleet.web.refusals import Refused
from tests.makers.registry import a_district, a_module_type, a_pump_type, a_site, a_unit, a_well, an_installation

pytestmark = pytest.mark.django_db


def test_a_sites_zone_follows_its_coordinates(organisation, nadia):
    district = a_district(organisation)
    site = services.keep_site(by=nadia, code="A1", name="A", district=district, latitude_deg=3.1, longitude_deg=35.6)
    assert site.zone == "Africa/Nairobi"
    services.keep_site(by=nadia, site=site, latitude_deg=12.7, longitude_deg=-2.4)
    assert site.zone == "Africa/Ouagadougou"


PLACES = [
    (-20.0, 60.0, "lie on the sea. Look at the signs"),
    (40.0, -15.0, "Latitude and longitude seem to be swapped"),  # mid-ocean; the other way round on land
    (95.0, 35.0, "Give latitude"),
]


@pytest.mark.parametrize(("lat", "lon", "words"), PLACES)
def test_coordinates_that_cannot_be_are_refused(organisation, nadia, lat, lon, words):
    with pytest.raises(Refused, match=words) as refusal:
        services.keep_site(by=nadia, code="A1", name="A", district=a_district(organisation), latitude_deg=lat,
                           longitude_deg=lon)  # fmt: skip
    assert refusal.value.field == "latitude_deg"


def test_a_site_far_away_that_would_lie_among_the_others_when_swapped_is_shown(organisation):
    for _n in range(3):
        a_site(organisation)
    strange = a_site(organisation, latitude_deg=35.6, longitude_deg=3.1)
    assert "the other way round" in warnings_of_site(strange)[0][1]
    assert warnings_of_site(a_site(organisation)) == []


def test_a_code_is_kept_once_within_the_organisation(organisation, nadia, other_organisation):
    a_site(organisation, code="A1")
    a_site(other_organisation, code="A2")
    new = {"name": "A", "district": a_district(organisation), "latitude_deg": 3.1, "longitude_deg": 35.6}
    with pytest.raises(Refused):
        services.keep_site(by=nadia, code="A1", **new)
    services.keep_site(by=nadia, code="A2", **new)


def test_levels_are_dated_and_corrected(organisation, idris):
    well = a_well(organisation=organisation, level_m=None)
    services.keep_level(well=well, measured_on=date(2025, 4, 3), level_m=18.4, by=idris)
    services.keep_level(well=well, measured_on=date(2025, 4, 3), level_m=19.4, by=idris)
    assert [v.level_m for v in well.static_levels.all()] == [19.4]
    with pytest.raises(Refused, match="Below the bottom"):
        services.keep_level(well=well, measured_on=date(2025, 4, 4), level_m=88, by=idris)


def test_a_sites_own_sun(organisation, nadia):
    site = a_site(organisation)
    sun = [5.5] * 12
    services.keep_climate(site=site, by=nadia, irradiation_kwh_m2_day=sun, air_c=[], source="station")
    with pytest.raises(Refused, match="Divide by 3.6"):
        services.keep_climate(site=site, by=nadia, irradiation_kwh_m2_day=[20.0] * 12, air_c=[], source="station")
    with pytest.raises(Refused, match="twelve"):
        services.keep_climate(site=site, by=nadia, irradiation_kwh_m2_day=[5.0], air_c=[], source="station")
    assert site.climate.irradiation_kwh_m2_day == sun


def test_the_test_sheet_is_kept_whole_and_only_what_differs_is_touched(organisation, amara):
    kind = a_pump_type(organisation, points=[(10, 100, 9.0), (20, 100, 5.0)])
    kept = kind.points.get(head_m=10).pk
    services.keep_pump_points(pump_type=kind, by=amara, points=[
        {"head_m": 10, "power_w": 100, "flow_l_min": 9.0, "voltage_v": None, "current_a": None},
        {"head_m": 30, "power_w": 100, "flow_l_min": 2.0, "voltage_v": None, "current_a": None},
    ])  # fmt: skip
    assert [(p.head_m, p.flow_l_min) for p in kind.points.all()] == [(10, 9.0), (30, 2.0)]
    assert kind.points.get(head_m=10).pk == kept
    twice = {"head_m": 10, "power_w": 100, "flow_l_min": 9.0}
    with pytest.raises(Refused, match="twice"):
        services.keep_pump_points(pump_type=kind, by=amara, points=[twice, twice])


def test_impossible_types_are_refused_in_words(organisation, amara):
    with pytest.raises(Refused, match="Open-circuit voltage must be above"):
        services.keep_module_type(by=amara, name="X", cells=36, p_stc_w=150, v_mp_v=18, i_mp_a=8, v_oc_v=17, i_sc_a=9)
    with pytest.raises(Refused, match="no bore"):
        services.keep_pipe(by=amara, name="X", outside_mm=20, wall_mm=10)
    with pytest.raises(Refused, match="lowest voltage"):
        services.keep_pump_type(by=amara, name="X", kind="helical", coupling="direct", min_voltage_v=60,
                                max_voltage_v=50)  # fmt: skip


def test_the_standard_catalogue_comes_once(organisation, amara):
    pipes, cables = services.standard_catalogue(organisation=organisation, by=amara)
    assert (pipes, cables) == (33, 8)
    assert services.standard_catalogue(organisation=organisation, by=amara) == (0, 0)
    bore = {p.name: round(p.inside_mm, 1) for p in organisation.pipes.all()}
    assert bore["PE 32 x 3.0"] == 26.0
    by_name = {p.name: p.pressure_bar for p in organisation.pipes.all()}
    assert (by_name["PE 50 x 3.0"], by_name["PE 50 x 4.6"], by_name["PE 110 x 12.3"]) == (10, 16, 20)


RULES = [  # facts, field, words; each beside facts that are right
    ({"pump_diameter_mm": 98, "well_diameter_mm": 96}, "unit", "does not fit"),
    ({"pump_diameter_mm": 98, "well_diameter_mm": 102}, "unit", "lower a dummy"),
    ({"pump_diameter_mm": 98, "well_diameter_mm": 150}, None, ""),
    ({"setting_depth_m": 62, "well_depth_m": 60}, "setting_depth_m", "in a well of 60 m"),
    ({"setting_depth_m": 59.5, "well_depth_m": 60}, "setting_depth_m", "where sand gathers"),
    ({"setting_depth_m": 20, "static_level_m": 22}, "setting_depth_m", "above the resting water"),
    ({"setting_depth_m": 24, "static_level_m": 22, "specific_capacity_m3_h_m": 0.4, "need_m3_day": 6},
     "setting_depth_m", "drawn down to about 24.5 m"),
    ({"setting_depth_m": 40, "static_level_m": 22, "well_depth_m": 60}, None, ""),
    ({"pipe_length_m": 41, "rope_length_m": 40}, "rope_length_m", "must be longer than the pipe"),
    ({"pipe_length_m": 41, "rope_length_m": 43, "cable_length_m": 42}, "cable_length_m", "longer than pipe and rope"),
    ({"pipe_length_m": 41, "rope_length_m": 43, "cable_length_m": 48}, None, ""),
    ({"mounting_height_m": 1.5}, "mounting_height_m", "out of reach"),
    ({"mounting_height_m": 3.0}, None, ""),
    ({"mounting_height_m": 3.0, "fenced": True}, "mounting_height_m", "1.5 m or lower"),
    ({"mounting_height_m": 1.4, "fenced": True}, None, ""),
    # 4 x 22.5 V x (1 + 0.0033 x 30 K) = 98.9 V
    ({"v_oc_v": 22.5, "beta_voc_pct_k": -0.33, "modules_in_series": 4, "controller_max_voltage_v": 98},
     "modules_in_series", "stand at 99 V"),
    ({"v_oc_v": 22.5, "beta_voc_pct_k": -0.33, "modules_in_series": 4, "controller_max_voltage_v": 100}, None, ""),
    ({"boxes_shaded_": False}, "boxes_shaded", "in the shade"),
    ({"latitude_deg": 12, "azimuth_deg": 0, "tilt_deg": 15}, "azimuth_deg", "away from the equator"),
    ({"latitude_deg": -12, "azimuth_deg": 0, "tilt_deg": 15}, None, ""),
]  # fmt: skip


@pytest.mark.parametrize(("facts", "field", "words"), RULES)
def test_rules_of_the_trade_warn(facts, field, words):
    found = warnings.of_installation(**facts)
    assert [f for f, _s in found] == ([field] if field else [])
    assert all(words in sentence for _f, sentence in found)


def test_rules_over_a_stored_installation_cost_no_words_when_all_is_right(organisation):
    assert warnings.of(an_installation(organisation), static_level_m=22) == []


def test_the_check_sign_is_that_of_the_standard():
    # ISO/IEC 7064, MOD 37,36: the standard's own worked example, quoted in many national rules (from memory).
    assert check_sign("A12425GABC1234002") == "M"
    code = "K7F3QX" + check_sign("K7F3QX")
    assert holds(code)
    for place in range(7):
        for sign in "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ":
            wrong = code[:place] + sign + code[place + 1 :]
            assert holds(wrong) == (wrong == code)


def test_a_label_is_made_once_and_read_back(organisation, nadia, otto):
    unit = a_unit(organisation)
    label = services.label_of(unit=unit, by=nadia)
    assert services.label_of(unit=unit, by=nadia) == label
    spoken = f"{label.code[:3]}-{label.code[3:6]} {label.code[6:]}".lower()
    assert services.read_label(spoken) == label.code
    with pytest.raises(Refused, match="slip"):
        services.read_label(label.code[:-1] + ("A" if label.code[-1] != "A" else "B"))
    with pytest.raises(Refused):
        services.label_of(unit=unit, by=otto)


def a_photo(kind="JPEG", size=(3000, 100)):
    import io

    from PIL import Image

    out = io.BytesIO()
    Image.new("RGB", size, "#336699").save(out, kind)
    return out.getvalue()


def test_a_photo_is_made_smaller_and_kept_once(organisation, idris):
    site = a_site(organisation)
    file = SimpleUploadedFile("mast.jpg", a_photo())
    kept = services.attach(file=file, site=site, by=idris, caption="mast")
    file.seek(0)
    assert services.attach(file=file, site=site, by=idris) == kept
    from PIL import Image

    with kept.file.open() as handle, Image.open(handle) as image:
        assert image.size == (2400, 80)


def test_an_image_that_is_none_is_refused(organisation, idris, otto):
    site = a_site(organisation)
    for name, content in [("a.jpg", b"MZ\x90\x00"), ("a.png", b"<svg onload=x>"), ("a.jpg", a_photo()[:200])]:
        with pytest.raises(Refused, match="neither a photo"):
            services.attach(file=SimpleUploadedFile(name, content), site=site, by=idris)
    with pytest.raises(Refused):
        services.attach(file=SimpleUploadedFile("a.jpg", a_photo()), site=site, by=otto)
    assert not site.attachments.exists()


def test_otto_changes_nothing_of_ours(organisation, otto, wanja):
    kind, module, well = a_pump_type(organisation), a_module_type(organisation), a_well(organisation=organisation)
    for verb, arguments in [
        (services.keep_pump_type, {"pump_type": kind, "name": "mine"}),
        (services.keep_module_type, {"module_type": module, "name": "mine"}),
        (services.keep_site, {"site": well.site, "name": "mine"}),
        (services.keep_well, {"well": well, "depth_m": 1}),
        (services.keep_tank, {"well": well, "capacity_m3": 1}),
        (services.keep_unit, {"unit": a_unit(organisation), "batch": "x"}),
    ]:
        for person in (otto, wanja):
            with pytest.raises(Refused):
                verb(by=person, **arguments)
