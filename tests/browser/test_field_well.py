"""At the well: the label read by the camera, the wrong place noticed, units as the person likes."""

import io
import json

import pytest
import segno
from PIL import Image

from fleet.registry.services import label_of
from fleet.visits import services
from fleet.visits.models import FieldPiece
from tests.browser.checks import no_accessibility_faults, shot
from tests.browser.field import fill_step, press_keep, until
from tests.browser.test_field_faults import MODULE, visit  # noqa: F401 - a fixture
from tests.browser.test_field_log import all_home, settled
from tests.makers.registry import a_site, a_well, an_installation
from tests.makers.visits import an_assigned_visit

pytestmark = pytest.mark.django_db(transaction=True)
CAMERA = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]


def label_picture(text, turned=0, size=300):
    """A label as a camera sees it: 640 by 480, turned, on grey, one side in shade."""
    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="png", scale=8, border=4)
    label = Image.open(out).convert("L").resize((size, size)).rotate(turned, expand=True, fillcolor=150)
    picture = Image.new("L", (640, 480), 150)
    picture.paste(label, ((640 - label.width) // 2, (480 - label.height) // 2))
    shade = Image.linear_gradient("L").rotate(90).resize((640, 480)).point(lambda v: 90 + v // 2)
    return Image.composite(picture, Image.new("L", picture.size, 0), shade.point(lambda v: min(255, v + 40)))


def film(path, picture):
    """What the camera shows, again and again."""
    out = io.BytesIO()
    picture.convert("RGB").save(out, "JPEG", quality=92)
    path.write_bytes(out.getvalue() * 3)
    return [*CAMERA, f"--use-file-for-fake-video-capture={path}"]


@pytest.mark.parametrize("turned", [0, 24, 180])
def test_the_camera_reads_the_label_and_opens_the_visit(phone_of, visit, idris, tmp_path, turned):  # noqa: F811
    code = label_of(unit=visit.installation.unit).code
    args = film(tmp_path / "camera.mjpeg", label_picture(f"http://127.0.0.1:8000/u/{code}", turned))
    phone = phone_of(idris, args=args, permissions=["camera"])
    page = phone.pack()
    phone.offline()
    page.get_by_text("Scan or type the label").click()
    page.get_by_role("button", name="Scan with the camera").click()
    page.get_by_role("heading", name=visit.site.code).wait_for(timeout=30_000)


def test_a_label_leads_to_the_visit_that_is_still_to_be_made(phone_of, visit, idris):  # noqa: F811
    """Two visits to one unit: the first is left already."""
    again = an_assigned_visit(visit.installation, idris, "repair", why="the second time")
    code = label_of(unit=visit.installation.unit).code
    phone = phone_of(idris)
    page = phone.pack()
    page.evaluate(
        """async ([key, module]) => {
             const { change } = await import(module + "db.js");
             await change("visits", key, (row) => ({ ...row, begun: true, left: Date.now() }));
           }""",
        [str(visit.key), MODULE],
    )
    page.reload()
    page.get_by_text("Scan or type the label").click()
    page.get_by_label("Code on the label, or serial").fill(code)
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_text("the second time").wait_for()
    assert str(again.key) in page.url


def test_a_camera_that_sees_no_label_can_be_stopped_and_the_code_typed(phone_of, visit, idris, tmp_path):  # noqa: F811
    code = label_of(unit=visit.installation.unit).code
    args = film(tmp_path / "camera.mjpeg", Image.effect_noise((640, 480), 60))
    phone = phone_of(idris, args=args, permissions=["camera"])
    page = phone.pack()
    phone.offline()
    page.get_by_text("Scan or type the label").click()
    page.get_by_role("button", name="Scan with the camera").click()
    page.locator("video").wait_for()
    page.wait_for_timeout(1500)
    page.get_by_role("button", name="Stop the camera").click()
    box = page.get_by_label("Code on the label, or serial")
    box.fill(code[:-1] + ("2" if code[-1] != "2" else "3"))
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_text("The check character does not fit").wait_for()
    box.fill(code.lower())
    page.get_by_role("button", name="Open", exact=True).click()
    page.get_by_role("heading", name=visit.site.code).wait_for()


def test_a_telephone_without_a_camera_says_so_and_offers_the_code(phone_of, visit, idris):  # noqa: F811
    phone = phone_of(idris)
    page = phone.pack()
    page.get_by_text("Scan or type the label").click()
    page.get_by_role("button", name="Scan with the camera").click()
    page.get_by_text("The camera cannot be used.").wait_for()
    assert page.get_by_label("Code on the label, or serial").is_visible()
    no_accessibility_faults(page)


def test_every_size_of_code_is_read_and_wrong_squares_are_mended(phone_of, visit, idris):  # noqa: F811
    """Against a library that writes codes: versions 1 to 10, all levels, figures, letters and bytes."""
    page = phone_of(idris).pack()
    cases = []
    for version in range(1, 11):
        for level in "LMQH":
            for text in ("http://127.0.0.1:8000/u/7KQ2M4X", "0123456789", "RM-7K Q/9", "Söhne"):
                try:
                    code = segno.make(text, version=version, error=level, micro=False, boost_error=False)
                except segno.DataOverflowError:
                    continue
                grid = [[int(square) for square in row] for row in code.matrix]
                hurt = [list(row) for row in grid]
                hurt[len(grid) // 2][-3] ^= 1
                hurt[-2][len(grid) - 2] ^= 1
                cases.append({"text": text, "grids": [grid, hurt]})
    said = page.evaluate(
        """async ([cases, module]) => {
             const { textOf } = await import(module + "qr.js");
             return cases.map((one) => one.grids.map(textOf));
           }""",
        [cases, MODULE],
    )
    assert len(cases) > 100
    for case, found in zip(cases, said, strict=True):
        assert found == [case["text"]] * 2


def test_a_wrong_place_is_noticed_kindly_and_the_right_visit_offered(phone_of, visit, idris, organisation):  # noqa: F811
    near = a_site(organisation, latitude_deg=visit.site.latitude_deg + 1, longitude_deg=visit.site.longitude_deg)
    other = an_assigned_visit(an_installation(well=a_well(near)), idris)
    here = {"latitude": near.latitude_deg, "longitude": near.longitude_deg, "accuracy": 20}
    phone = phone_of(idris, geolocation=here, permissions=["geolocation"])
    page = phone.pack()
    phone.offline()
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    page.get_by_text("Is this the right place?").wait_for()
    assert "111 km" in page.locator(".notice", has_text="right place").inner_text()
    shot(page, "field-wrong-place")
    page.get_by_role("link", name=f"Nearer to you: {other.site.code}").click()
    page.get_by_role("heading", name=other.site.code).wait_for()
    page.wait_for_timeout(500)
    assert not page.get_by_text("Is this the right place?").count()


# ---- units ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def in_feet(idris):
    idris.flow_unit, idris.length_unit = "m3_h", "ft"
    idris.save(update_fields=["flow_unit", "length_unit"])
    return idris


def test_feet_and_cubic_metres_an_hour_are_typed_answered_and_kept_in_metres(phone_of, visit, in_feet):  # noqa: F811
    phone = phone_of(in_feet)
    page = phone.pack()
    phone.offline()
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    page.get_by_role("button", name="I have arrived").click()
    page.get_by_role("heading", name="Arrive").wait_for()
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/spot_test")
    page.get_by_role("heading", name="Spot test").wait_for()
    fill_step(page, visit)
    page.get_by_text("reference cell").first.check()
    page.get_by_label("Irradiance in the modules").fill("800")
    level = page.get_by_label("Static level below datum").first
    assert level.locator("xpath=following-sibling::*").inner_text() == "ft"
    level.fill("73,5")
    page.get_by_label("Pumping level below datum").first.fill("")
    for box in (page.get_by_label("Array voltage"), page.get_by_label("Array current")):
        box.fill("")
    page.get_by_text("Read at the meter, instead or beside the bucket").click()
    meter = page.get_by_label("Flow by the meter")
    assert meter.locator("xpath=following-sibling::*").inner_text() == "m³/h"
    meter.fill("1.1")
    answer = page.locator(".spot-answer")
    assert "1.1 m³/h" in answer.inner_text()
    assert "73.5 ft" in answer.inner_text()
    assert "L/min" not in answer.inner_text()
    shot(page, "field-feet")
    # The units changed about are asked about, and mended in the unit shown.
    level.fill("22.4")
    ask = page.locator(".notice", has_text="would fit metres")
    ask.get_by_role("button", name="Yes, change it").click()
    assert page.get_by_label("Static level below datum").first.input_value() == "73.5"
    page.get_by_label("Flow by the meter").fill("18.2")
    ask = page.locator(".notice", has_text="would fit litres a minute")
    ask.get_by_role("button", name="Yes, change it").click()
    assert float(page.get_by_label("Flow by the meter").input_value()) == pytest.approx(1.09, abs=0.01)
    page.get_by_label("Flow by the meter").fill("1.1")
    settled(page)
    page.reload()
    page.get_by_role("heading", name="Spot test").wait_for()
    assert page.get_by_label("Static level below datum").first.input_value() == "73.5"
    press_keep(page)
    page.get_by_role("button", name="Next", exact=True).wait_for()
    phone.offline(False)
    all_home(page)
    piece = FieldPiece.objects.get(kind="step")
    sent = next(p["text"] for p in phone.stored("pieces") if p["kind"] == "step")
    assert json.loads(sent) == piece.payload
    assert piece.payload["values"]["spot"]["static_level_m"] == "73.5 ft"  # as it was typed
    test = visit.spot_tests.get().spot_test
    assert test.static_level_m == pytest.approx(73.5 * 0.3048)
    assert test.flow_l_min == pytest.approx(1.1 / 0.06)


def test_the_expected_card_is_shown_in_the_units_the_person_likes(phone_of, visit, in_feet):  # noqa: F811
    phone = phone_of(in_feet)
    page = phone.pack()
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    page.get_by_text("Expected figures").click()
    card = page.locator("details", has_text="Expected figures")
    assert "m³/h" in card.inner_text()
    assert " ft" in card.inner_text()
    assert "L/min" not in card.inner_text()
    built = page.locator(".facts", has_text="Setting depth").inner_text()
    assert " ft" in built


def test_a_draft_in_feet_is_shown_in_metres_when_the_person_changes_the_unit(phone_of, visit, in_feet):  # noqa: F811
    page = phone_of(in_feet).pack()
    said = page.evaluate(
        """async (module) => {
             const { shownIn, read, speak, typedIn } = await import(module + "words.js");
             const kept = typedIn("73.5", "m");
             speak({}, { length_unit: "m", flow_unit: "l_min" });
             return [kept, shownIn(kept, "m"), read(kept), shownIn("18", "L/min"), read("1,5 m³/h"), read("12 V")];
           }""",
        MODULE,
    )
    assert said[0] == "73.5 ft"
    assert float(said[1]) == pytest.approx(22.4, abs=0.05)
    assert said[2] == pytest.approx(73.5 * 0.3048)
    assert (said[3], said[4]) == ("18", pytest.approx(25))
    assert said[5] is None or said[5] != said[5]


def test_an_answered_step_does_not_depend_on_the_unit(phone_of, visit, idris):  # noqa: F811
    page = phone_of(idris).pack()
    until(page, "true")
    card = services.bundle(by=idris)["visits"][0]["card"]
    said = page.evaluate(
        """async ([card, module]) => {
             const { answer } = await import(module + "card.js");
             const common = { sun_by: "reference_cell", irradiance_w_m2: "800" };
             const feet = `${22.4 / 0.3048} ft`, hours = `${18 * 0.06} m³/h`;
             return [answer(card, { ...common, static_level_m: "22.4", flow_l_min: "18" }),
                     answer(card, { ...common, static_level_m: feet, flow_l_min: hours })];
           }""",
        [card, MODULE],
    )
    assert said[0]["verdict"] == said[1]["verdict"]
    assert said[0]["expected"]["middle"] == pytest.approx(said[1]["expected"]["middle"])
