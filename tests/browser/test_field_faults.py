"""What goes wrong with telephones in the field, one fault a test: nothing typed may be lost, nothing doubled."""

import json
import re
from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.utils import timezone

from fleet.output.services import answer_spot
from fleet.readings.services.spot import flow_of
from fleet.visits import services
from fleet.visits.models import FieldPiece, Photo, Procedure
from fleet.visits.services.values import clean_spot
from tests.browser.field import fill_step, press_keep, shown, until
from tests.browser.test_field_log import all_home, open_visit, picture, settled, unlock_if_asked
from tests.makers.readings import a_spot_test
from tests.makers.registry import an_installation
from tests.makers.visits import an_assigned_visit

pytestmark = pytest.mark.django_db(transaction=True)
MODULE = "/static/visits/field/"


@pytest.fixture
def visit(idris, organisation):
    services.set_up(organisation)
    return an_assigned_visit(an_installation(organisation), idris)


@pytest.fixture
def at_the_well(phone_of, visit, idris):
    """Packed, without signal, arrived, at the first step."""
    phone = phone_of(idris)
    phone.pack()
    phone.offline()
    open_visit(phone.page, visit)
    return phone


def write_note(page, text):
    page.get_by_label("Who is present").fill(text)
    settled(page)


def test_every_keystroke_is_on_the_telephone(at_the_well):
    page = at_the_well.page
    box = page.get_by_label("Who is present")
    for n, letter in enumerate("Ekal Lomeri"):
        box.press(letter if letter != " " else "Space")
        if n % 4 == 0:
            until(page, "document.querySelector('.kept-state').textContent.length > 0")
    page.wait_for_timeout(300)
    assert at_the_well.stored("drafts")[0]["values"]["present"] == "Ekal Lomeri"


def test_a_closed_browser_opens_at_the_same_words(at_the_well, visit):
    write_note(at_the_well.page, "Ekal und Söhne")
    at_the_well.close()
    page = at_the_well.start()
    at_the_well.context.set_offline(True)
    page.goto(at_the_well.server + f"/field/#/visit/{visit.key}/step/arrive")
    unlock_if_asked(at_the_well)
    assert page.get_by_label("Who is present").input_value() == "Ekal und Söhne"


def test_a_second_window_shows_and_may_take_over_without_losing_a_word(at_the_well, visit):
    first = at_the_well.page
    write_note(first, "from the first window")
    second = at_the_well.context.new_page()
    second.goto(at_the_well.server + f"/field/#/visit/{visit.key}/step/arrive")
    second.get_by_text("The log is open in another window").wait_for()
    assert second.get_by_label("Who is present").input_value() == "from the first window"
    assert not second.get_by_role("button", name="Keep, and go on").count()
    second.get_by_role("button", name="Write here instead").click()
    second.get_by_role("button", name="Keep, and go on").wait_for()
    first.get_by_text("The log is open in another window").wait_for()
    fill_step(second, visit)
    press_keep(second)
    second.get_by_role("heading", name="Ask the caretaker first").wait_for()
    at_the_well.offline(False)
    all_home(second)
    assert sorted(FieldPiece.objects.values_list("kind", flat=True)) == ["start", "step"]


CLOCKS = [("two hours behind", -2 * 3600), ("a day ahead", 24 * 3600), ("begun in 1970 after a flat battery", None)]


@pytest.mark.parametrize(("how", "off_s"), CLOCKS, ids=[c[0] for c in CLOCKS])
def test_a_wrong_clock_is_mended_by_the_server_s(phone_of, visit, idris, how, off_s):
    phone = phone_of(idris)
    wrong = 200_000 if off_s is None else f"Date.now() + {off_s * 1000}"
    phone.context.add_init_script(
        f"{{ const true_now = Date.now.bind(Date), begun = performance.now(); const first = {wrong};"
        "Date.now = () => first + performance.now() - begun; }"
    )
    page = phone.pack()
    phone.offline()
    before = timezone.now()
    open_visit(page, visit)
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    after = timezone.now()
    phone.offline(False)
    all_home(page)
    slack = timedelta(seconds=5)
    for piece in FieldPiece.objects.all():
        assert before - slack <= piece.written_at <= after + slack, (how, piece.written_at, before)
        assert piece.state == "kept", piece.sentence


def test_a_clock_that_is_set_back_while_the_log_is_open_changes_no_order(at_the_well, visit):
    page = at_the_well.page
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    page.evaluate("{ const now = Date.now.bind(Date); Date.now = () => now() - 86400000; }")
    page.goto(at_the_well.server + f"/field/#/visit/{visit.key}/step/arrive")
    shown(page)
    page.get_by_label("Who is present").fill("corrected after the clock jumped")
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    at_the_well.offline(False)
    all_home(page)
    assert services.current_records(visit)["arrive"].values["present"] == "corrected after the clock jumped"


def test_a_log_out_while_a_visit_is_open_loses_nothing(at_the_well, visit):
    page = at_the_well.page
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    Session.objects.all().delete()
    at_the_well.context.clear_cookies()
    at_the_well.offline(False)
    all_home(page)
    assert FieldPiece.objects.filter(state="kept").count() == 2


def test_a_full_telephone_says_so_and_keeps_what_it_has(at_the_well, visit):
    page = at_the_well.page
    write_note(page, "before it was full")
    page.evaluate(
        """() => { const put = IDBObjectStore.prototype.put;
             window.mend = () => { IDBObjectStore.prototype.put = put; };
             IDBObjectStore.prototype.put = function () { throw new DOMException("full", "QuotaExceededError"); }; }"""
    )
    page.get_by_label("Who is present").fill("while it is full")
    page.locator(".kept-state.trouble").wait_for()
    assert at_the_well.stored("drafts")[0]["values"]["present"] == "before it was full"
    page.evaluate("window.mend()")
    page.get_by_label("Who is present").fill("while it is full, then room")
    until(page, "!document.querySelector('.kept-state.trouble')")
    page.wait_for_timeout(200)
    assert at_the_well.stored("drafts")[0]["values"]["present"] == "while it is full, then room"


def test_a_new_version_waits_until_it_is_asked_for(at_the_well, visit, settings):
    from fleet.visits import field_assets

    page = at_the_well.page
    write_note(page, "written with the old version")
    at_the_well.offline(False)
    old = page.evaluate("document.body.dataset.version")
    kept = field_assets.version
    try:
        field_assets.version = lambda: "newversion00"
        page.evaluate("navigator.serviceWorker.getRegistration('/field/').then((r) => r.update())")
        until(page, "navigator.serviceWorker.getRegistration('/field/').then((r) => Boolean(r.waiting))", seconds=30)
        assert page.evaluate("document.body.dataset.version") == old
        page.goto(at_the_well.server + "/field/#/")
        page.get_by_text("A new version is ready").wait_for()
        with page.expect_navigation():
            page.get_by_role("button", name="Use it now").click()
        until(page, "document.body.dataset.version === 'newversion00'")
        page.goto(at_the_well.server + f"/field/#/visit/{visit.key}/step/arrive")
        shown(page)
        assert page.get_by_label("Who is present").input_value() == "written with the old version"
    finally:
        field_assets.version = kept


def test_a_refused_record_comes_back_with_a_sentence_and_is_mended_on_the_telephone(at_the_well, visit, monkeypatch):
    from fleet.visits.services import logging
    from fleet.web.refusals import Refused

    page = at_the_well.page
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()

    def no(*_args, **_kwargs):
        raise Refused("tried", "The server does not like this one.")

    with monkeypatch.context() as patch:
        patch.setattr(logging, "clean_values", no)
        at_the_well.offline(False)
        page.get_by_role("link", name="came back").wait_for(timeout=30_000)
    page.get_by_role("link", name="came back").click()
    page.get_by_text("The server does not like this one.").wait_for()
    page.get_by_role("link", name=re.compile("Arrive")).click()
    page.get_by_role("heading", name="Arrive").wait_for()
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    all_home(page)
    assert services.current_records(visit)["arrive"].values["right_site"] is True


@pytest.mark.slow
def test_forty_steps_and_twelve_photos_come_home_once_over_a_bad_line(phone_of, visit, idris, tmp_path):
    steps = [
        {**visit.procedure.steps[1], "code": f"step_{n}", "cautions": [], "rules": [], "title": f"Step {n}"}
        for n in range(40)
    ]
    Procedure.objects.filter(pk=visit.procedure_id).update(steps=steps)
    phone = phone_of(idris)
    page = phone.pack()
    phone.offline()
    for n in range(12):
        page.evaluate("(n) => { const i = document.createElement('input'); i.type = 'file'; i.id = 'try' + n;"
                      "document.body.append(i); }", n)  # fmt: skip
        page.locator(f"#try{n}").set_input_files(picture(tmp_path, n, (400, 300)))
    made = page.evaluate(
        """async ([visit, module]) => {
             const { freeze } = await import(module + "outbox.js"), { shrink } = await import(module + "photo.js");
             await freeze(visit, "start", {});
             for (let n = 0; n < 40; n++) await freeze(visit, "step", { step: `step_${n}`, cautions_seen: [],
               values: { words: `words of step ${n}`, days_without_water: String(n), since: "slowly" } });
             let bytes = 0;
             for (let n = 0; n < 12; n++) {
               const blob = await shrink(document.getElementById("try" + n).files[0]);
               bytes += blob.size;
               await freeze(visit, "photo", { step: `step_${n}`, size: blob.size, caption: "photo " + n }, { blob });
             }
             await freeze(visit, "leave", { km: 12, not_done: "", caretaker_words: "good" });
             return bytes;
           }""",
        [str(visit.key), MODULE],
    )
    phone.wire.bits_s, phone.wire.loses = 64_000, 0.1
    began = timezone.now()
    phone.offline(False)
    for _ in range(600):
        if not phone.stored("photos") and {p["state"] for p in phone.stored("pieces")} == {"kept"}:
            break
        page.wait_for_timeout(500)
    took = (timezone.now() - began).total_seconds()
    wire = phone.wire
    print(f"54 records and {made / 1000:.0f} kB of photos came home in {took:.0f} s; {wire.lost} of {wire.seen} lost")
    assert wire.lost > 0
    visit.refresh_from_db()
    assert (visit.state, visit.records.count(), Photo.objects.count()) == ("logged", 40, 12)
    assert FieldPiece.objects.count() == 54
    assert set(FieldPiece.objects.values_list("state", flat=True)) == {"kept"}
    assert {r.values["words"] for r in visit.records.all()} == {f"words of step {n}" for n in range(40)}


# ---- the telephone and the server say the same ----------------------------------------------------------------------


def test_rules_are_judged_on_the_telephone_as_on_the_server(phone_of, visit, idris):
    from pathlib import Path

    cases = json.loads((Path(__file__).parents[1] / "visits/data/rule_cases.json").read_text())
    page = phone_of(idris).pack()
    found = page.evaluate(
        """async ([cases, module]) => {
             const { judge } = await import(module + "rules.js");
             return cases.map((c) => judge(c.step, c.values, c.known));
           }""",
        [cases, MODULE],
    )
    for case, said in zip(cases, found, strict=True):
        assert (said["passed"], len(said["sentences"]), said["stop"]) == (
            case["passed"], case["broken"], case["stop"],
        ), case["name"]  # fmt: skip


READINGS = [
    {"sun_by": sun_by, "irradiance_w_m2": sun, "static_level_m": level, "repeats": [{"litres": 20, "seconds": s}] * 3}
    | electric
    for sun_by, sun, level, s, electric in (
        ("reference_cell", 800, 22.4, 66, {}),
        ("reference_cell", 800, 22.4, 66, {"array_voltage_v": 49.3, "array_current_a": 6.0}),
        ("pyranometer", 930, 19.0, 95, {"array_voltage_v": 48.0, "array_current_a": 4.1}),
        ("clear_sky", 640, None, 80, {}),
        ("reference_cell", 500, 26.0, 240, {"array_voltage_v": 51.0, "array_current_a": 3.7}),
        ("reference_cell", 210, 22.0, 300, {}),
        ("pyranometer", 1030, 33.0, 30, {}),
        ("module_isc", None, 22.0, 70, {"module_isc_a": 7.4, "cell_c": 52}),
        # a poor joint, a box that lets half through, one that eats power, a deep drawdown, a meter that reads low
        ("reference_cell", 900, 22.0, 90, {"array_voltage_v": 49.0, "array_current_a": 7.0, "loop_ohm": 5.2}),
        ("reference_cell", 900, 22.0, 120, {"array_voltage_v": 60.0, "array_current_a": 2.4, "first_water_min": 9.0}),
        ("reference_cell", 900, 22.0, 150, {"array_voltage_v": 49.0, "array_current_a": 7.0, "output_voltage_v": 40,
                                            "output_current_a": 3.1}),
        ("reference_cell", 850, 22.0, 100, {"pumping_level_m": 31.0, "array_voltage_v": 49.0, "array_current_a": 6.7}),
        ("reference_cell", 850, 22.0, 70, {"array_voltage_v": 49.0, "array_current_a": 6.7, "flow_l_min": 11.0}),
        ("reference_cell", 850, 22.0, 70, {"flow_l_min": 16.8}),
    )
]  # fmt: skip


def test_a_spot_test_is_answered_on_the_telephone_as_on_the_server(phone_of, visit, idris):
    a_spot_test(visit.installation, at=timezone.now() - timedelta(days=30), loop_ohm=2.2, kind="visit",
                flow_l_min=None, flow_by="none")  # fmt: skip
    page = phone_of(idris).pack()
    card = _visits(page)[0]["data"]["card"]
    said = page.evaluate(
        """async ([card, readings, module]) => {
             const { answer } = await import(module + "card.js");
             return readings.map((r) => answer(card, r));
           }""",
        [card, READINGS, MODULE],
    )
    for values, phone in zip(READINGS, said, strict=True):
        plain = clean_spot(values, "spot") | {"at": timezone.now()}
        server = answer_spot(visit.installation, plain | {"flow_l_min": flow_of(plain["repeats"])})
        assert phone["verdict"] == server["verdict"], (values, phone["because"], server["because"])
        for end in ("low", "middle", "high"):
            assert phone["expected"][end] == pytest.approx(server["expected_l_min"][end], rel=0.03, abs=0.15), values
        if server["verdict"] == "cannot_tell":
            continue
        mine, theirs = phone["fall"], server["waterfall"]
        assert mine["start"] == pytest.approx(theirs["start"]["l_min"], rel=0.02, abs=0.15), values
        losses = {step["stage"]: step["loss"] for step in mine["steps"]}
        assert losses == pytest.approx(
            {step["stage"]: step["loss_l_min"] for step in theirs["steps"]}, abs=0.4, rel=0.1
        ), values
        assert mine["start"] - sum(losses.values()) == pytest.approx(flow_of(values["repeats"]), abs=0.01), values
        clear = {step["stage"] for step in mine["steps"] if step["clear"] and abs(step["loss"]) > 1}
        assert clear <= {step["stage"] for step in theirs["steps"] if step["clear"]}, values
        assert len(mine["untold"]) == len(theirs["untold"]), values
        assert (mine["meter"] or {}).get("agrees") == theirs.get("meter", {}).get("agrees"), values
        if "meter" in theirs and not theirs["meter"]["agrees"]:
            assert mine["meter"]["loss"] == pytest.approx(theirs["meter"]["loss_l_min"], abs=0.05)
    pipe = next(step for step in said[9]["fall"]["steps"] if step["stage"] == "pump")
    assert pipe["name"] == "pipe", "nine minutes to first water: it falls back"


def _visits(page):
    return page.evaluate(
        """() => new Promise((done) => { const o = indexedDB.open("rising-main-field"); o.onsuccess = () => {
             const all = o.result.transaction("visits").objectStore("visits").getAll();
             all.onsuccess = () => { o.result.close(); done(all.result); }; }; })"""
    )


def test_the_sun_is_where_the_almanac_says(phone_of, visit, idris):
    from sizing import sun

    page = phone_of(idris).pack()
    packed = _visits(page)[0]["data"]["sun"]
    moments = [packed["noons"][d]["at"] + m * 60 for d in (0, 3, 10) for m in (-330, -205, -40, -3, 0, 7, 115, 300)]
    said = page.evaluate(
        """async ([sun, moments, module]) => {
             const { sunNow } = await import(module + "sun.js");
             return moments.map((s) => sunNow(sun, new Date(s * 1000)));
           }""",
        [packed, moments, MODULE],
    )
    for moment, mine in zip(moments, said, strict=True):
        when = timezone.datetime.fromtimestamp(moment, tz=timezone.get_default_timezone()).replace(tzinfo=None)
        stands = sun.position(when, visit.site.latitude_deg, visit.site.longitude_deg, altitude_m=620)
        off = (mine["bearing"] - float(stands.azimuth_deg) + 180) % 360 - 180
        height = 90 - float(stands.zenith_deg)
        assert abs(off) < 0.6 / max(0.3, abs(1 - height / 95)), (moment, mine, float(stands.azimuth_deg))
        assert mine["height"] == pytest.approx(height, abs=0.3)


def test_a_reading_outside_the_range_that_is_shown_is_not_called_within_it(phone_of, visit, idris):
    page = phone_of(idris).pack()
    card = _visits(page)[0]["data"]["card"]
    parts = [0.0, 0.9, 1.2]
    said = page.evaluate(
        """async ([card, reading, parts, module]) => {
             const { answer } = await import(module + "card.js");
             const { low, middle } = answer(card, reading).expected;
             const bucket = (flow) => ({ litres: 20, seconds: 1200 / flow });
             return parts.map((p) => answer(card, { ...reading, repeats: [bucket(middle + p * (low - middle))] }));
           }""",
        [card, READINGS[0], parts, MODULE],
    )
    for part, found in zip(parts, said, strict=True):
        assert found["verdict"] == "as_expected", found
        assert ("A little outside the range" if part > 1 else "Within what is right") in found["because"], found
        assert (found["measured"] >= found["expected"]["low"]) == (part <= 1), found
