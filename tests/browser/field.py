"""A telephone in the browser tests: signed in, packed, cut off from the network, killed and started again."""

import contextlib
import json
import os
import re
import signal
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client

from tests.browser.wire import Wire

PIN = "2468"
PHONE = {
    "viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "reduced_motion": "reduce",
    "device_scale_factor": 2,
}  # fmt: skip


def until(page, truth, arg=None, seconds=15):
    """Wait until an expression of the page holds. (The page's policy forbids the driver's own way of waiting.)"""
    for _ in range(seconds * 20):
        if page.evaluate(truth, arg):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"did not come true within {seconds} s: {truth}")


class Telephone:
    """A browser with a profile of its own on disk, so that it can be killed and started again."""

    def __init__(self, kind, path, folder, server, person, wire=None, promised=False, **options):
        """`promised`: its browser has promised to keep what is stored, as it does for a page on the home screen."""
        self.kind, self.path, self.folder, self.server, self.wire = kind, path, folder, server, wire
        self.person, self.options, self.errors = person, options, []
        if promised:
            (self.folder / "Default").mkdir(parents=True)
            granted = {"durable_storage": {f"{server},*": {"setting": 1}}}
            settings_of_sites = {"profile": {"content_settings": {"exceptions": granted}}}
            (self.folder / "Default" / "Preferences").write_text(json.dumps(settings_of_sites))
        self.start()
        self.log_in()

    def start(self, **changes):
        """`changes`: what is new about the telephone since it was switched off, as `timezone_id`."""
        self.options |= changes
        options = PHONE | self.options
        self.context = self.kind.launch_persistent_context(
            str(self.folder), executable_path=self.path, headless=True,
            args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", *options.pop("args", [])], **options,
        )  # fmt: skip
        self.page = self.context.pages[0] if self.context.pages else self.context.new_page()
        self.page.set_default_timeout(15_000)
        self.page.on("pageerror", lambda error: self.errors.append(str(error)))
        return self.page

    def log_in(self):
        client = Client()
        client.force_login(self.person, backend="fleet.people.backends.PersonBackend")
        key = client.cookies[settings.SESSION_COOKIE_NAME].value
        self.context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": key, "url": self.server}])

    def pack(self):
        """Sign in with a PIN, be packed, and wait until the worker keeps the files."""
        page = self.page
        page.goto(self.server + "/field/")
        page.get_by_label("Choose a PIN").fill(PIN)
        page.get_by_label("The same PIN again").fill(PIN)
        page.get_by_role("button", name="Keep the PIN").click()
        page.get_by_role("heading", name="My visits").wait_for(timeout=150_000)
        for _ in range(5):  # the first cards of a test run may take longer than a telephone waits: it asks again
            if page.locator(".packed .badge-good").count():
                break
            page.get_by_role("button", name="Pack now").click()
            page.locator(".packed .badge-good, .packed .notice").first.wait_for(timeout=150_000)
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        until(page, "caches.keys().then(async (n) => n.length && (await (await caches.open(n[0])).keys()).length > 20)")
        return page

    def unlock(self):
        self.page.get_by_label("Your PIN").fill(PIN)
        self.page.get_by_role("button", name="Open").click()

    def offline(self, off=True):
        """No signal: the wire to the server is cut, and the browser knows it."""
        self.wire.cut = off
        self.context.set_offline(off)

    def kill(self):
        """End the browser's processes at once, as a flat battery does."""
        mark, ended = f"--user-data-dir={self.folder}", 0
        for entry in Path("/proc").iterdir():
            if entry.name.isdigit():
                with contextlib.suppress(OSError):
                    if mark in (entry / "cmdline").read_bytes().decode(errors="replace"):
                        os.kill(int(entry.name), signal.SIGKILL)
                        ended += 1
        assert ended, "no process of this telephone was found"
        with contextlib.suppress(Exception):
            self.context.close()
        for lock in self.folder.glob("Singleton*"):
            lock.unlink()

    def stored(self, store):
        """All rows of a store, as they lie on the telephone."""
        return self.page.evaluate(
            """(store) => new Promise((done, fail) => {
                 const asked = indexedDB.open("rising-main-field");
                 asked.onerror = () => fail(asked.error);
                 asked.onsuccess = () => {
                   const all = asked.result.transaction(store).objectStore(store).getAll();
                   all.onsuccess = () => { asked.result.close(); done(JSON.parse(JSON.stringify(all.result))); };
                   all.onerror = () => fail(all.error);
                 };
               })""",
            store,
        )

    def close(self):
        self.context.close()


@pytest.fixture
def phone_of(chromium, server, tmp_path):
    """`phone_of(idris)`: a telephone behind a wire that can be cut. No script of it may have failed at the end."""
    from tests.browser.conftest import chromium_path

    made = []

    def phone(person, **options):
        wire = Wire(server)
        folder = tmp_path / f"telephone-{len(made)}"
        made.append(Telephone(chromium.browser_type, chromium_path(), folder, wire.address, person, wire, **options))
        return made[-1]

    yield phone
    for one in made:
        with contextlib.suppress(Exception):
            one.close()
        one.wire.close()
    for one in made:
        assert not one.errors, one.errors


def acknowledge(page):
    for box in page.locator(".acknowledge input").all():
        box.check()


def fill_step(page, visit):
    """Fill whatever the step on the screen asks for; returns the texts that were typed, by label."""
    acknowledge(page)
    step = next(s for s in visit.procedure.steps if s["code"] == step_of(page))
    captures = {c["code"]: c for c in step["captures"]}
    typed = {}
    for group in page.locator(".capture").all():
        code = group.get_attribute("id").removeprefix("capture-")
        if group.locator(".bucket").count():
            continue
        for n, box in enumerate(group.locator("input[inputmode=decimal]").all()):
            low, high = captures[code].get("low"), captures[code].get("high")
            number = f"{min(max(40, low or 0), high if high is not None else 40) + (n if high is None else 0):g}"
            box.fill(number)
            typed[f"{code}.{n}"] = number
        for box in group.locator("textarea").all():
            box.fill(f"as it should be, ngoja kidogo – é {code}")
            typed[code] = f"as it should be, ngoja kidogo – é {code}"
        for box in group.locator("input[type=time]").all():
            box.fill("10:15")
        for box in group.locator("input.input[inputmode=text]").all():
            box.fill("RM-77")
        radios = group.locator("input[type=radio]")
        if radios.count():
            radios.first.check()
    return typed


def shown(page):
    """The screen of the present address is drawn."""
    until(page, "document.getElementById('app').dataset.screen === location.hash")


def press_keep(page):
    page.locator(".field-bar .button-main").first.click()


def step_of(page):
    return re.search(r"/step/(\w+)", page.url).group(1)
