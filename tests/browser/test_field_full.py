"""A telephone that is full to the last byte: nothing that was kept is lost, and what can no longer be kept is told.

A browser that has promised nothing throws away all that the log has stored when the disk is full; which moment it takes
is its own affair. So the tests of a really full disk hold whichever it does, and one takes everything away on purpose.
"""

import contextlib
import os
import shutil
import subprocess
import threading
import time
from types import SimpleNamespace

import pytest

from fleet.visits.models import FieldPiece, Photo
from tests.browser.checks import no_accessibility_faults
from tests.browser.field import fill_step, press_keep, until
from tests.browser.test_field_faults import at_the_well, visit, write_note  # noqa: F401 - fixtures
from tests.browser.test_field_log import all_home, open_visit, picture, settled, unlock_if_asked

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def promised(phone_of, visit, idris):  # noqa: F811
    """Packed, without signal, at the first step; its browser has promised to keep what is stored."""
    phone = phone_of(idris, promised=True)
    phone.pack()
    phone.offline()
    open_visit(phone.page, visit)
    return phone


@pytest.fixture
def small_disk(tmp_path):
    """A disk of its own of 160 MB for the first telephone; `fill()` it, then give `room()`."""
    folder, mount = tmp_path / "telephone-0", shutil.which("mount")
    folder.mkdir()
    made = mount and os.geteuid() == 0 and subprocess.run(
        [mount, "-t", "tmpfs", "-o", "size=160m", "tmpfs", str(folder)], capture_output=True, check=False
    ).returncode == 0  # fmt: skip
    if not made:
        pytest.skip("no right to make a small disk here")

    stop = threading.Event()

    def fill_once():
        """To the last byte, and then no more."""
        with (folder / "fill").open("wb", buffering=0) as file, contextlib.suppress(OSError):
            while file.write(b"0" * 65_536):
                pass

    def fill_up():
        """To the last byte, and again when the browser throws something away."""
        with (folder / "fill").open("wb", buffering=0) as file:
            while not stop.wait(0.02):
                with contextlib.suppress(OSError):
                    while file.write(b"0" * 65_536) and not stop.is_set():
                        pass

    filling = threading.Thread(target=fill_up, daemon=True)

    def fill():
        filling.start()
        for _ in range(1000):
            free = os.statvfs(folder)
            if free.f_bavail * free.f_frsize < 65_536:
                return
            time.sleep(0.02)
        raise AssertionError("the small disk did not fill up")

    def room():
        stop.set()
        if filling.ident:
            filling.join(30)
        (folder / "fill").unlink()

    yield SimpleNamespace(fill=fill, fill_once=fill_once, room=room)
    stop.set()
    subprocess.run([shutil.which("umount"), "-l", str(folder)], check=False)


def test_a_disk_that_is_really_full_is_told_and_nothing_kept_is_lost(small_disk, promised):
    phone, page = promised, promised.page
    write_note(page, "before it was full")
    small_disk.fill()
    page.get_by_label("Who is present").fill("more than there is room for " * 40_000)
    page.locator(".kept-state.trouble").wait_for(timeout=60_000)
    page.get_by_role("alert").first.wait_for()  # told at the top as well
    small_disk.room()
    page.get_by_label("Who is present").fill("room again")
    until(page, "!document.querySelector('.kept-state.trouble')", seconds=60)
    page.wait_for_timeout(500)
    assert phone.stored("drafts")[0]["values"]["present"] == "room again"
    assert [piece["kind"] for piece in phone.stored("pieces")] == ["start"]
    assert len(phone.stored("visits")) == 1


KEPT = "!document.querySelector('.kept-state.trouble') && document.querySelector('.kept-state').textContent.length > 0"


def words_until_it_is_full(page):
    for n in range(40):  # what the stores have room for inside themselves is soon used up
        page.get_by_label("Who is present").fill(f"{n} " + "words that still have room " * 1000)
        page.wait_for_timeout(60)
    page.get_by_label("Who is present").fill("the last words")


LAID_BY = """async () => {
  const folder = await navigator.storage.getDirectory();
  const found = await folder.getFileHandle("reserve").catch(() => null);
  return found && (await found.getFile()).size; }"""


def test_on_a_full_disk_words_go_on_being_kept_in_the_room_that_was_laid_by(small_disk, promised, visit):  # noqa: F811
    phone, page = promised, promised.page
    write_note(page, "before it was full")
    assert page.evaluate(LAID_BY) == 8_000_000
    small_disk.fill_once()
    words_until_it_is_full(page)
    settled(page)
    page.get_by_text("in the room that was laid by").wait_for(timeout=60_000)
    no_accessibility_faults(page)
    assert page.evaluate(LAID_BY) == 0
    assert phone.stored("drafts")[0]["values"]["present"] == "the last words"
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    small_disk.room()
    page.reload()
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    until(page, f"({LAID_BY})().then((size) => size === 8_000_000)", seconds=30)
    assert sorted(piece["kind"] for piece in phone.stored("pieces")) == ["start", "step"]


def a_photo(page, folder):
    page.locator("input[type=file]").first.set_input_files(picture(folder))
    page.get_by_text("Kept,").wait_for()


def test_a_browser_that_promised_nothing_loses_nothing_on_a_full_disk_while_the_log_is_open(
    small_disk, at_the_well, visit, tmp_path  # noqa: F811
):
    phone, page = at_the_well, at_the_well.page
    a_photo(page, tmp_path)
    typed = {piece["key"] for piece in phone.stored("pieces")}
    small_disk.fill_once()
    words_until_it_is_full(page)
    until(page, KEPT, seconds=60)
    page.wait_for_timeout(3000)  # what is thrown away goes in the background
    assert phone.stored("drafts")[0]["values"]["present"] == "the last words"
    assert {piece["key"] for piece in phone.stored("pieces")} == typed
    assert len(phone.stored("visits")) == 1
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    small_disk.room()
    phone.offline(False)
    all_home(page, seconds=150)
    assert typed < {str(piece.key) for piece in FieldPiece.objects.all()}
    assert set(FieldPiece.objects.values_list("state", flat=True)) == {"kept"}
    assert Photo.objects.count() == 1


def thrown_away(phone):
    """What a browser does with a site on a full disk: all of it goes, without a word to the page."""
    window = phone.context.new_cdp_session(phone.page)
    window.send("Storage.clearDataForOrigin", {
        "origin": phone.server, "storageTypes": "indexeddb,file_systems,cache_storage,service_workers",
    })  # fmt: skip


def test_what_the_browser_throws_away_is_put_back_while_the_log_is_open(at_the_well, visit, tmp_path):  # noqa: F811
    phone, page = at_the_well, at_the_well.page
    a_photo(page, tmp_path)
    write_note(page, "said before it went")
    page.reload()  # what an earlier window wrote counts as well, and its photo is then only in the storage
    unlock_if_asked(phone)
    page.get_by_role("heading", name="Arrive").wait_for()
    page.wait_for_timeout(500)
    before = {store: phone.stored(store) for store in ("visits", "drafts", "pieces")}
    assert len(before["pieces"]) == 2
    thrown_away(phone)
    page.get_by_text("Leave this window open").wait_for(timeout=20_000)
    no_accessibility_faults(page)
    assert {store: phone.stored(store) for store in before} == before
    fill_step(page, visit)
    press_keep(page)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()
    phone.offline(False)
    all_home(page, seconds=150)
    assert Photo.objects.count() == 1
    assert visit.records.get().step == "arrive"
    page.get_by_text("Leave this window open").wait_for(state="detached", timeout=60_000)
    until(page, "caches.keys().then(async (n) => n.length && (await (await caches.open(n[0])).keys()).length > 20)")
    phone.offline()
    page.reload()  # the log's own pages lie there again
    unlock_if_asked(phone)
    page.get_by_role("heading", name="Ask the caretaker first").wait_for()


def test_a_telephone_that_promised_nothing_is_told_how_it_would_and_another_is_left_in_peace(phone_of, visit, idris):  # noqa: F811
    page = phone_of(idris).pack()
    page.get_by_text("Put the log on the home screen").wait_for()
    no_accessibility_faults(page)
    page = phone_of(idris, promised=True).pack()
    page.locator(".packed").wait_for()
    assert not page.get_by_text("home screen").count()
