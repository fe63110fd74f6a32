"""The technician's morning from start to end on a telephone without the network; its pictures stand in the README.

    SCREENSHOTS=folder python -m pytest tests/browser/test_field_morning.py

writes `morning-1.png` to `morning-8.png`, small enough to be kept with the README.
"""

import io
import os
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone
from PIL import Image

from fleet.registry.services import label_of
from fleet.visits import services
from fleet.visits.models import FieldPiece, Visit
from tests.browser.field import acknowledge, fill_step, press_keep, shown, step_of, until
from tests.browser.test_field_log import all_home, picture
from tests.browser.test_field_well import film, label_picture
from tests.makers.registry import a_site, a_static_level, a_unit, a_well, an_installation
from tests.makers.visits import a_shortfall, a_visit, an_assigned_visit, record_all

pytestmark = pytest.mark.django_db(transaction=True)
MOST_BYTES = 60_000
NEXT = """(here) => Boolean(document.querySelector('.step > h1 + p .badge'))
  || !location.hash.includes('/step/' + here)"""


def still(page, name, at=None):
    """What the screen shows now, in few colours."""
    if at is not None:
        at.scroll_into_view_if_needed()
    page.wait_for_timeout(150)
    seen = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    for colours in (128, 64, 32):
        out = io.BytesIO()
        seen.quantize(colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
        if len(out.getvalue()) < MOST_BYTES:
            break
    assert len(out.getvalue()) < MOST_BYTES, f"{name}: {len(out.getvalue())} bytes"
    folder = Path(os.environ.get("SCREENSHOTS", ".build/screenshots"))
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"morning-{name}.png").write_bytes(out.getvalue())


@pytest.fixture
def morning(organisation, idris, nadia):
    """Three visits of today; at the first less water comes than should, and it was looked over half a year ago."""
    services.set_up(organisation)
    places = [("N-014", "Akwana school", "Akwana"), ("N-022", "Lower Tirik", "Tirik"), ("N-031", "Saba wells", "Saba")]
    visits = []
    for n, (code, name, village) in enumerate(places):
        site = a_site(
            organisation, code=code, name=name, village=village, caretaker_name=["Ekal Nadome", "Rehema Otieno",
            "Lomuria Akal"][n], access_notes="Left at the dry river, then 4 km of sand; in the rains by the ridge.",
            latitude_deg=3.1 + 0.05 * n, longitude_deg=35.6,
        )  # fmt: skip
        well = a_well(site)
        a_static_level(well, 22.0, timezone.localdate() - timedelta(days=20))
        installation = an_installation(
            organisation, unit=a_unit(organisation, serial=f"BR-24-{118 + 7 * n}"), well=well, azimuth_deg=165
        )
        if n == 0:
            earlier = a_visit(installation)
            services.assign(visit=earlier, technician=idris, on=timezone.localdate(), by=nadia)
            services.start(visit=earlier, by=idris, at=timezone.now() - timedelta(days=180))
            earlier.refresh_from_db()
            record_all(earlier)
            services.leave(visit=earlier, by=idris, at=timezone.now() - timedelta(days=179), km=20)
            then = timezone.now() - timedelta(days=179)
            Visit.objects.filter(pk=earlier.pk).update(
                state="closed", planned_on=then.date(), closed_at=then, outcome="in_order"
            )
            shortfall = a_shortfall(installation)
            visits.append(an_assigned_visit(
                installation, idris, "repair", shortfall=shortfall, why="900 litres a day missing since three weeks"
            ))  # fmt: skip
        else:
            visits.append(an_assigned_visit(installation, idris))
    return visits


def test_the_morning_is_played_from_start_to_end_without_the_network(phone_of, morning, idris, tmp_path):
    visit = morning[0]
    code = label_of(unit=visit.installation.unit).code
    phone = phone_of(
        idris, device_scale_factor=1, viewport={"width": 390, "height": 844}, permissions=["camera", "geolocation"],
        args=film(tmp_path / "camera.mjpeg", label_picture(f"http://127.0.0.1:8000/u/{code}", 8)),
        geolocation={"latitude": visit.site.latitude_deg, "longitude": visit.site.longitude_deg, "accuracy": 12},
    )  # fmt: skip
    page = phone.pack()
    phone.offline()
    page.reload()
    page.get_by_role("heading", name="My visits").wait_for()
    still(page, 1)
    # At the well the label leads to the visit.
    page.get_by_text("Scan or type the label").click()
    page.get_by_role("button", name="Scan with the camera").click()
    page.get_by_role("heading", name=visit.site.code).wait_for(timeout=30_000)
    still(page, 2)
    page.get_by_role("link", name="Face the sun").first.click()
    page.get_by_role("heading", name="Face the sun").wait_for()
    page.get_by_label("By compass, the modules look towards").fill("150")
    still(page, 6, page.locator(".noon"))
    page.go_back()
    page.get_by_role("button", name="I have arrived").click()
    page.locator(".step h1").wait_for()
    steps = visit.procedure.steps
    pictured = False
    for _ in steps:
        if page.locator(".step h1").count() == 0:
            break
        here = step_of(page)
        if not pictured and page.locator(".caution").count() and here != steps[0]["code"]:
            still(page, 3)
            pictured = True
        fill_step(page, visit)
        if here == steps[0]["code"]:
            page.locator("input[type=file]").first.set_input_files(picture(tmp_path))
            page.get_by_text("Kept,").wait_for()
        if page.locator(".bucket").count():
            less_water(page, here)
        for pad in page.locator(".mark-pad").all():
            signed(page, pad)
        press_keep(page)
        shown_next(page, here)
        if page.get_by_role("button", name="Next", exact=True).count():
            page.get_by_role("button", name="Next", exact=True).click()
            shown_next(page, here)
    until(page, "location.hash.endsWith('/leave')")
    page.goto(phone.server + f"/field/#/visit/{visit.key}/finding")
    shown(page)
    page.get_by_label("How does it show?").select_option(index=2)
    page.get_by_label("Why?").select_option(index=3)
    page.get_by_label("What was done?").select_option(index=2)
    page.get_by_label("In words").fill("joint at 12 m wet; cut out and made anew")
    press_keep(page)
    page.get_by_role("heading", name=visit.site.code).wait_for()
    page.goto(phone.server + f"/field/#/visit/{visit.key}/leave")
    shown(page)
    page.get_by_label("Kilometres of this visit").fill("38")
    page.get_by_label("Caretaker's words").fill("asante, it runs as it did")
    still(page, 7)
    press_keep(page)
    page.get_by_role("heading", name="My visits").wait_for()
    page.get_by_role("link", name="still to send").click()
    page.get_by_role("heading", name="To send").wait_for()
    still(page, 8)
    assert not FieldPiece.objects.exists()
    phone.offline(False)
    all_home(page)
    visit.refresh_from_db()
    assert visit.state == "logged"
    assert services.open_steps(visit) == []
    assert visit.findings.count() == 1
    assert FieldPiece.objects.count() == len(steps) + 4  # and arrival, photo, finding, departure: nothing went twice
    assert set(FieldPiece.objects.values_list("state", flat=True)) == {"kept"}


def shown_next(page, here):
    """Another step, or the answer to this one, or the end."""
    until(page, NEXT, here)
    page.wait_for_timeout(80)


def less_water(page, here):
    acknowledge(page)
    if page.get_by_text("reference cell").count():
        page.get_by_text("reference cell").first.check()
        page.get_by_label("Irradiance in the modules").fill("780")
        page.get_by_label("Static level below datum").first.fill("22.4")
        page.get_by_label("Array voltage").first.fill("54.1")
        page.get_by_label("Array current").first.fill("6.1")
    for n in range(3):
        fill = page.get_by_role("group", name=f"Fill {n + 1}")
        fill.get_by_label("Litres").fill("20")
        fill.get_by_label("Seconds").fill(str(118 + 2 * n if "after" not in here else 70 + n))
    if page.locator(".spot-answer .verdict").count() and "after" not in here:
        still(page, 4, page.get_by_role("group", name="Fill 1"))
        still(page, 5, page.locator(".spot-answer .verdict").first)


def signed(page, pad):
    pad.scroll_into_view_if_needed()
    box = pad.bounding_box()
    page.mouse.move(box["x"] + 30, box["y"] + 40)
    page.mouse.down()
    for x, y in ((60, 90), (90, 30), (120, 95), (150, 40), (190, 80)):
        page.mouse.move(box["x"] + x, box["y"] + y, steps=4)
    page.mouse.up()
