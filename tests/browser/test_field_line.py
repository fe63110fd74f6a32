"""What goes wrong on the line, with the clock's zone and with versions: nothing typed is lost, nothing doubled."""

import json
from datetime import timedelta

import pytest
from django.utils import timezone

from fleet.visits import services
from fleet.visits.models import FieldPiece, Photo
from fleet.visits.services import field_bundle, field_intake
from tests.browser.checks import no_accessibility_faults
from tests.browser.field import fill_step, press_keep, until
from tests.browser.test_field_faults import at_the_well, visit, write_note  # noqa: F401 - fixtures
from tests.browser.test_field_log import all_home, open_visit, picture, unlock_if_asked

pytestmark = pytest.mark.django_db(transaction=True)


def two_steps_and_a_photo(phone, visit, folder):  # noqa: F811
    page = phone.page
    page.locator("input[type=file]").first.set_input_files(picture(folder))
    page.get_by_text("Kept,").wait_for()
    for heading in ("Ask the caretaker first", ""):
        fill_step(page, visit)
        press_keep(page)
        if heading:
            page.get_by_role("heading", name=heading).wait_for()
    page.wait_for_timeout(300)
    return {piece["key"]: piece["text"] for piece in phone.stored("pieces")}


def everything_is_home_once(phone, visit, typed):  # noqa: F811
    all_home(phone.page, seconds=150)
    assert {str(p.key): p.payload for p in FieldPiece.objects.all()} == {k: json.loads(t) for k, t in typed.items()}
    assert set(FieldPiece.objects.values_list("state", flat=True)) == {"kept"}
    assert Photo.objects.count() == 1
    assert visit.records.count() == 2


TROUBLES = [  # what the line does, how often
    ("halves", 2),  # cut in the middle of a piece
    ("breaks", 2),  # a fault of the server's, before and after it has kept what was sent
    ("busy", 2),  # too many at once
]


@pytest.mark.parametrize(("trouble", "times"), TROUBLES, ids=[t[0] for t in TROUBLES])
def test_trouble_in_the_middle_of_sending_loses_and_doubles_nothing(at_the_well, visit, tmp_path, trouble, times):  # noqa: F811
    phone = at_the_well
    typed = two_steps_and_a_photo(phone, visit, tmp_path)
    assert len(typed) == 4
    setattr(phone.wire, trouble, times)
    phone.offline(False)
    everything_is_home_once(phone, visit, typed)
    assert len(phone.wire.done) == times


def test_a_line_that_is_cut_while_a_photo_is_sent_goes_on_where_it_stopped(at_the_well, visit, tmp_path):  # noqa: F811
    phone = at_the_well
    typed = two_steps_and_a_photo(phone, visit, tmp_path)
    phone.wire.bits_s = 200_000
    phone.offline(False)
    until(phone.page, "document.querySelector('.field-state').textContent.includes('1 still')", seconds=60)
    phone.page.wait_for_timeout(1500)
    phone.offline()
    phone.page.wait_for_timeout(1000)
    assert phone.stored("photos")
    phone.wire.bits_s = None
    phone.offline(False)
    everything_is_home_once(phone, visit, typed)


def test_a_telephone_that_changes_its_time_zone_between_two_steps_tells_true_times(phone_of, visit, idris):  # noqa: F811
    phone = phone_of(idris, timezone_id="Africa/Nairobi")
    page = phone.pack()
    phone.offline()
    began = timezone.now()
    open_visit(page, visit)
    assert page.evaluate("new Date().getTimezoneOffset()") == -180
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    phone.close()
    page = phone.start(timezone_id="America/Lima")
    phone.context.set_offline(True)
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/ask_caretaker")
    unlock_if_asked(phone)
    assert page.evaluate("new Date().getTimezoneOffset()") == 300
    fill_step(page, visit)
    press_keep(page)
    page.wait_for_timeout(500)
    ended = timezone.now()
    phone.offline(False)
    all_home(page)
    slack = timedelta(seconds=3)
    for piece in FieldPiece.objects.all():
        assert began - slack <= piece.written_at <= ended + slack
    arrive, ask = visit.records.order_by("at")
    assert (arrive.step, ask.step) == ("arrive", "ask_caretaker")


def test_an_old_version_that_the_server_no_longer_packs_for_still_sends_what_it_holds(
    at_the_well, visit, tmp_path, monkeypatch  # noqa: F811
):
    phone, page = at_the_well, at_the_well.page
    typed = two_steps_and_a_photo(phone, visit, tmp_path)
    packed = phone.stored("visits")
    # Meanwhile the office has moved on: bundles and pieces have another form.
    monkeypatch.setattr(field_bundle, "FORMAT", 7)
    monkeypatch.setattr(field_intake, "FORMAT", 7)
    phone.offline(False)
    everything_is_home_once(phone, visit, typed)
    page.goto(phone.server + "/field/#/")
    page.get_by_role("button", name="Pack now").click()
    page.get_by_text("works with a newer version of this log").wait_for()
    assert [row["data"] for row in phone.stored("visits")] == [row["data"] for row in packed]


def test_a_telephone_without_signal_for_too_long_asks_to_log_in_and_keeps_everything(at_the_well, visit):  # noqa: F811
    phone, page = at_the_well, at_the_well.page
    write_note(page, "before the long way home")
    page.get_by_role("button", name="Lock").click()
    page.get_by_label("Your PIN").wait_for()
    phone.context.add_init_script("{ const now = Date.now.bind(Date); Date.now = () => now() + 15 * 86400000; }")
    page.reload()
    page.get_by_text("Too many days without signal").wait_for()
    assert not page.get_by_label("Your PIN").count()
    assert phone.stored("drafts")[0]["values"]["present"] == "before the long way home"
    phone.offline(False)
    page.get_by_role("button", name="Try again").click()
    page.get_by_label("Choose a PIN").fill("1357")
    page.get_by_label("The same PIN again").fill("1357")
    page.get_by_role("button", name="Keep the PIN").click()
    page.get_by_role("heading", name="Arrive").wait_for(timeout=60_000)
    assert page.get_by_label("Who is present").input_value() == "before the long way home"


def test_a_storage_that_is_nearly_full_is_told_in_time(at_the_well):  # noqa: F811
    """Where the browser says how much room there is; some only ever say "plenty": there the failed write tells."""
    phone, page = at_the_well, at_the_well.page
    write_note(page, "before it is full")
    phone.context.add_init_script(
        "navigator.storage.estimate = async () => ({ quota: 100_000_000, usage: 90_000_000 });"
    )
    page.goto(phone.server + "/field/#/")
    page.reload()
    page.get_by_text("The telephone is almost full").wait_for()
    no_accessibility_faults(page)
    assert phone.stored("drafts")[0]["values"]["present"] == "before it is full"


def test_where_only_text_has_room_left_a_visit_says_so_and_goes_on_without_photos(at_the_well, visit, tmp_path):  # noqa: F811
    phone, page = at_the_well, at_the_well.page
    phone.context.add_init_script(
        "navigator.storage.estimate = async () => ({ quota: 100_000_000, usage: 80_000_000 });"
    )
    page.reload()
    page.get_by_text("photos have not").wait_for()
    page.locator("input[type=file]").first.set_input_files(picture(tmp_path))
    page.locator(".capture [role=status]").get_by_text("photos have not").wait_for()
    assert not phone.stored("photos")
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    page.goto(phone.server + f"/field/#/visit/{visit.key}")
    page.get_by_text("photos have not").wait_for()
    assert sorted(piece["kind"] for piece in phone.stored("pieces")) == ["start", "step"]


def test_what_a_newer_version_wrote_is_kept_for_a_person(at_the_well, visit, nadia):  # noqa: F811
    """The office's server was set back to an older version while the telephone has the newer one."""
    phone, page = at_the_well, at_the_well.page
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    kept = field_intake.FORMAT
    field_intake.FORMAT = 0
    try:
        phone.offline(False)
        all_home(page)
    finally:
        field_intake.FORMAT = kept
    waiting = FieldPiece.objects.filter(state="to_settle")
    assert waiting.count() == 2
    services.settle(visit=visit, take=waiting.values_list("key", flat=True), by=nadia)
    assert visit.records.get().step == "arrive"
