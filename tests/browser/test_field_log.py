"""The log at the well in a real browser, with the network really cut."""

import itertools
import re

import pytest

from fleet.visits import services
from fleet.visits.models import FieldDevice, FieldPiece, Photo, Visit
from tests.browser.checks import no_accessibility_faults, shot, targets_are_large
from tests.browser.field import PIN, fill_step, press_keep, shown, step_of, until
from tests.makers.registry import an_installation
from tests.makers.visits import an_assigned_visit

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return an_assigned_visit(an_installation(organisation), idris)


def settled(page):
    """Everything typed is on the storage."""
    until(page, "document.querySelector('.kept-state')?.textContent.length > 0")


def all_home(page, seconds=60):
    """Everything has been sent."""
    page.get_by_role("link", name="all sent").wait_for(timeout=1000 * seconds)


def open_visit(page, visit):
    page.get_by_role("link", name=re.compile(visit.site.code)).click()
    page.get_by_role("button", name="I have arrived").click()
    page.get_by_role("heading", name="Arrive").wait_for()


def picture(folder, n=0, size=(800, 600)):
    from PIL import Image

    path = folder / f"photo-{n}.jpg"
    noise = Image.effect_noise(size, 40 + n).convert("RGB")
    Image.blend(noise, Image.linear_gradient("L").resize(size).convert("RGB"), 0.7).save(path, quality=85)
    return path


def test_a_whole_visit_is_logged_without_signal_and_comes_home_byte_by_byte(phone_of, visit, idris, tmp_path):
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    page.reload()
    page.get_by_role("heading", name="My visits").wait_for()
    open_visit(page, visit)
    typed, codes = {}, []
    for n in range(len(visit.procedure.steps)):
        code = step_of(page)
        codes.append(code)
        typed[code] = fill_step(page, visit)
        if code == "arrive":
            page.locator("input[type=file]").first.set_input_files(picture(tmp_path))
            page.get_by_text("Kept,").wait_for()
        if code.startswith("spot") or page.locator(".bucket").count():
            spot_test(page)
        for pad in page.locator(".mark-pad").all():
            box = pad.bounding_box()
            pad.scroll_into_view_if_needed()
            box = pad.bounding_box()
            page.mouse.move(box["x"] + 30, box["y"] + 40)
            page.mouse.down()
            page.mouse.move(box["x"] + 120, box["y"] + 90, steps=5)
            page.mouse.up()
        if n == 1:  # a flat battery in the middle of a step
            settled(page)
            phone.kill()
            page = phone.start()
            phone.context.set_offline(True)
            page.goto(phone.server + f"/field/#/visit/{visit.key}/step/{code}")
            unlock_if_asked(phone)
            assert page.locator("textarea").first.input_value() == typed[code]["words"]
        before = page.url
        press_keep(page)
        answered = "(before) => location.href !== before || Boolean(document.querySelector('.step > h1 + p .badge'))"
        until(page, answered, before)
        if page.url == before:
            page.get_by_role("button", name="Next").click()
            until(page, "(before) => location.href !== before", before)
        shown(page)
    page.get_by_role("heading", name="Leave").wait_for()
    page.get_by_role("link", name="All steps").click()
    shown(page)
    page.locator(".field-bar").get_by_role("link", name="Leave").click()  # no step is left to be the next one
    shown(page)
    page.get_by_label("Kilometres of this visit").fill("84,5")
    page.get_by_label("Caretaker's words").fill("Maji yanatoka vizuri – asante")
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("still to send").wait_for()
    assert not FieldPiece.objects.exists()
    assert sorted(codes) == sorted(s["code"] for s in visit.procedure.steps)

    phone.offline(False)
    all_home(page)
    visit.refresh_from_db()
    assert (visit.state, visit.km, visit.caretaker_words) == ("logged", 84.5, "Maji yanatoka vizuri – asante")
    by_step = {p.payload["step"]: p for p in FieldPiece.objects.filter(kind="step")}
    assert {p.state for p in by_step.values()} == {"kept"}, [(s, p.sentence) for s, p in by_step.items()]
    for code, fields in typed.items():
        sent = by_step[code].payload["values"]
        for name, text in fields.items():
            capture, _dot, place = name.partition(".")
            if capture not in sent or isinstance(sent[capture], dict):
                continue
            value = sent[capture][int(place)] if place and isinstance(sent[capture], list) else sent[capture]
            assert value == text, (code, name)
    stored = {p["key"]: p["text"] for p in phone.stored("pieces")}
    import json

    for piece in FieldPiece.objects.all():
        assert json.loads(stored[str(piece.key)]) == piece.payload
    assert Photo.objects.get().step == "arrive"
    assert services.open_steps(visit) == []


def unlock_if_asked(phone):
    until(phone.page, "Boolean(document.querySelector('#app h1'))")
    if phone.page.get_by_label("Your PIN").count():
        phone.unlock()
    phone.page.locator(".step h1").wait_for()


def spot_test(page):
    page.get_by_text("reference cell").first.check()
    page.get_by_label("Irradiance in the modules").fill("800")
    page.get_by_label("Static level below datum").first.fill("22,4")
    for n in range(3):
        fill = page.get_by_role("group", name=f"Fill {n + 1}")
        fill.get_by_label("Litres").fill("20")
        fill.get_by_label("Seconds").fill(str(66 + n))
    page.locator(".answer").first.wait_for()


def test_the_answer_comes_at_once_and_slips_are_asked_about_kindly(phone_of, visit, idris):
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    open_visit(page, visit)
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/spot_test")
    spot_test(page)
    answer = page.locator(".spot-answer")
    assert "as expected" in answer.inner_text()
    for n in range(3):
        page.get_by_role("group", name=f"Fill {n + 1}").get_by_label("Seconds").fill("140")
    assert "below what is expected" in answer.inner_text()
    assert "Check next" in answer.inner_text()
    page.get_by_label("Array voltage").fill("50")
    page.get_by_label("Array current").fill("4")
    steps = [(at["from"], at["to"]) for at in page.locator(".fall").evaluate("""(list) => {
      const track = list.querySelector(".fall-track").getBoundingClientRect();
      return [...list.querySelectorAll(".fall-piece")].map((piece) => {
        const box = piece.getBoundingClientRect();
        return { from: (box.left - track.left) / track.width, to: (box.right - track.left) / track.width };
      });
    }""")]
    assert steps[0][0] == pytest.approx(0, abs=0.01)
    lost = steps[1:-1]
    assert len(lost) >= 2, "modules and pump each have their step"
    for before, after in itertools.pairwise(lost):
        gap = min(abs(one - other) for one in before for other in after)
        assert gap < 0.02, "each step begins where one ended"
    assert "Pump and pipe" in page.locator(".answer .facts").last.inner_text(), "the same in words"
    page.get_by_label("Irradiance in the modules").fill("0,8")
    ask = page.locator(".notice", has_text="would fit kW/m²")
    ask.get_by_role("button", name="Yes, change it").click()
    assert page.get_by_label("Irradiance in the modules").input_value() == "800"
    page.get_by_label("Static level below datum").fill("72,2")
    assert "would fit feet" in page.locator(".notice").first.inner_text()
    page.get_by_role("button", name="No, it is right").click()
    assert not page.locator(".notice", has_text="feet").count()
    shot(page, "field-spot-test")


def test_a_step_with_a_caution_is_not_passed_unread_and_a_skip_asks_why(phone_of, visit, idris):
    phone = phone_of(idris)
    page = phone.pack()
    open_visit(page, visit)
    press_keep(page)
    page.get_by_text("Read and acknowledge the caution first.").wait_for()
    page.get_by_text("Skip this step").click()
    page.get_by_role("button", name="Skip, with this reason").click()
    page.get_by_text("Say in a few words why.").wait_for()
    page.get_by_label("Why is it skipped?").fill("no plate")
    page.get_by_role("button", name="Skip, with this reason").click()
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    all_home(page)
    assert FieldPiece.objects.get(kind="step").payload["skipped_why"] == "no plate"
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    page.get_by_text("Alone on the road and at the well · Thunder").first.wait_for()  # words, not the sheet's marks


def test_where_a_step_says_stop_the_large_button_leads_back_and_not_on(phone_of, organisation, idris):
    services.set_up(organisation)
    visit = an_assigned_visit(an_installation(organisation), idris, "repair")
    phone = phone_of(idris)
    page = phone.pack()
    open_visit(page, visit)
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/make_safe")
    shown(page)
    fill_step(page, visit)
    page.get_by_label("Voltage left at the pump's leads").fill("48")
    press_keep(page)
    page.get_by_text("Do not go on before this is put right.").wait_for()
    assert page.locator(".button-main").inner_text() == "Change something"
    # Whoever goes on all the same finds it in the list and when leaving, and not as if all were well.
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    shown(page)
    mine = page.locator(".step-links li", has_text="Isolate and prove dead")
    assert "not in order" in mine.inner_text() and "kept" not in mine.inner_text()
    page.goto(phone.server + f"/field/#/visit/{visit.key}/leave")
    shown(page)
    page.locator(".notice-bad", has_text="Recorded as not in order").get_by_role("link").click()
    shown(page)
    page.get_by_label("Voltage left at the pump's leads").fill("48")
    press_keep(page)
    page.get_by_text("Do not go on before this is put right.").wait_for()
    press_keep(page)
    page.get_by_label("Voltage left at the pump's leads").fill("0")
    press_keep(page)
    until(page, "!location.hash.includes('make_safe')")
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    shown(page)
    assert "kept" in page.locator(".step-links li", has_text="Isolate and prove dead").inner_text()
    all_home(page)
    services.put_together(visit.pk)
    assert services.current_records(visit)["make_safe"].values["volts_left"] == 0
    assert visit.records.filter(step="make_safe").count() == 3, "the earlier readings stay readable"


SCREENS = ["", "visit/{key}", "visit/{key}/step/arrive", "visit/{key}/step/spot_test", "visit/{key}/sun",
           "visit/{key}/finding", "visit/{key}/part", "visit/{key}/leave", "waiting"]  # fmt: skip


@pytest.mark.parametrize("look", ["light", "dark"])
def test_every_screen_is_readable_and_large_enough(phone_of, visit, idris, look):
    phone = phone_of(idris, color_scheme=look)
    page = phone.page
    page.goto(phone.server + "/field/")
    page.get_by_label("Choose a PIN").wait_for()
    no_accessibility_faults(page)
    page = phone.pack()
    for n, screen in enumerate(SCREENS):
        page.goto(phone.server + "/field/#/" + screen.format(key=visit.key))
        shown(page)
        until(page, "Boolean(document.querySelector('#app h1'))")
        page.wait_for_timeout(300)
        no_accessibility_faults(page)
        targets_are_large(page)
        shot(page, f"field-{look}-{n}")
    page.goto(phone.server + "/field/#/")
    page.get_by_text("Scan or type the label").click()
    as_it_should_be(page, f"field-{look}-label")
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    page.get_by_role("button", name="I have arrived").click()
    page.get_by_role("heading", name="Arrive").wait_for()
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/spot_test")
    page.get_by_role("heading", name="Spot test").wait_for()
    fill_step(page, visit)
    spot_test(page)
    page.get_by_label("Irradiance in the modules").fill("0.8")
    page.locator(".notice", has_text="would fit kW").wait_for()
    as_it_should_be(page, f"field-{look}-question")
    page.get_by_role("button", name="Yes, change it").click()
    for n in range(3):
        page.get_by_role("group", name=f"Fill {n + 1}").get_by_label("Seconds").fill("150")
    press_keep(page)
    page.get_by_role("button", name="Next", exact=True).wait_for()
    as_it_should_be(page, f"field-{look}-answer")
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/ask_caretaker")
    page.get_by_role("heading", name="Ask the caretaker").wait_for()
    press_keep(page)
    page.get_by_text("Skip this step").click()
    as_it_should_be(page, f"field-{look}-missing")
    page.get_by_role("button", name="Lock").click()
    page.get_by_label("Your PIN").wait_for()
    as_it_should_be(page, f"field-{look}-lock")


def as_it_should_be(page, name):
    page.wait_for_timeout(200)
    no_accessibility_faults(page)
    targets_are_large(page)
    shot(page, name)


def test_a_packed_visit_opens_without_signal_on_a_slow_telephone_and_its_time_is_told(
    phone_of, visit, idris, organisation
):
    for _ in range(9):
        an_assigned_visit(an_installation(organisation), idris)
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    slow = phone.context.new_cdp_session(page)
    slow.send("Emulation.setCPUThrottlingRate", {"rate": 4})
    page.goto("about:blank")
    page.goto(phone.server + f"/field/#/visit/{visit.key}", wait_until="commit")
    page.get_by_role("heading", name=visit.site.code).wait_for()
    page.get_by_text("Steps", exact=True).first.wait_for()
    took = page.evaluate("performance.getEntriesByName('shown')[0].startTime")
    # To be read with `-s` on a quiet machine (wanted: below 1,000 ms); beside other work it says nothing.
    print(f"a packed visit was open after {took:.0f} ms with a fourfold slower processor")


def test_the_desk_sees_what_has_not_come_home_and_both_sides_of_a_visit_called_off(
    phone_of, visit, idris, nadia, page_of, server
):
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    open_visit(page, visit)
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    services.cancel(visit=visit, why="flood on the road", by=nadia)
    phone.offline(False)
    all_home(page)
    assert set(FieldPiece.objects.values_list("state", flat=True)) == {"to_settle"}
    desk = page_of(nadia, "desk")
    desk.goto(server + "/visits/telephones/")
    no_accessibility_faults(desk)
    shot(desk, "field-not-home")
    desk.get_by_role("link", name=re.compile(visit.site.code)).first.click()
    no_accessibility_faults(desk)
    shot(desk, "field-both-sides")
    targets_are_large(desk)
    desk.set_viewport_size({"width": 360, "height": 740})
    no_accessibility_faults(desk)
    shot(desk, "field-both-sides-narrow")
    desk.get_by_role("button", name="Take all of it over").click()
    desk.get_by_text("taken over").first.wait_for()
    visit.refresh_from_db()
    assert (visit.state, visit.technician) == ("under_way", idris)
    assert visit.records.get().step == "arrive"


def test_a_lost_telephone_is_shut_out_and_wiped(phone_of, visit, idris, nadia):
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    open_visit(page, visit)
    page.get_by_label("Who is present").fill("Ekal")
    settled(page)
    device = FieldDevice.objects.get()
    services.shut_out(device=device, by=nadia)
    phone.offline(False)
    until(page, "document.querySelector('#app').textContent.length > 0")
    for _ in range(50):
        if not phone.stored("visits"):
            break
        page.wait_for_timeout(200)
    assert phone.stored("visits") == []
    assert len(phone.stored("pieces")) == 1  # what was recorded stays, and can come home when it is let in again
    assert len(phone.stored("drafts")) == 1
    assert not Visit.objects.exclude(state="assigned").exists()


def test_wrong_pins_cost_time(phone_of, visit, idris):
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    page.get_by_role("button", name="Lock").click()
    for _ in range(5):
        page.get_by_label("Your PIN").fill("1357")
        page.get_by_role("button", name="Open").click()
        page.get_by_text("This PIN is wrong.").wait_for()
        page.wait_for_timeout(200)
    page.get_by_label("Your PIN").fill(PIN)
    page.get_by_role("button", name="Open").click()
    page.get_by_text("Too many wrong PINs.").wait_for()
    page.reload()
    page.get_by_label("Your PIN").fill(PIN)
    page.get_by_role("button", name="Open").click()
    page.get_by_text("Too many wrong PINs.").wait_for()
