"""Real Chromium against the running application.

    def test_nadia_sees_her_list(page_of, nadia, server):
        page = page_of(nadia, "phone")          # signed in, 360 x 740; "desk" is 1280 x 800
        opens(page, server + "/attention/")     # opens, no_accessibility_faults: from tests.browser.checks
        no_accessibility_faults(page)

Every page that `page_of` gave out must end with a clean console; `page_of(..., noisy=True)` leaves that out, for tests
that provoke a refusal (the browser writes each 4xx to its console).
"""

import os
import shutil

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.test import Client

from fleet.web import scripts
from tests.browser.checks import Console
from tests.browser.field import phone_of  # noqa: F401 - a fixture

os.environ.setdefault("DJANGO_LIVE_TEST_SERVER_ADDRESS", "127.0.0.1")  # the number: names cannot be looked up in tests
# Playwright keeps an event loop in this thread; the tests' own queries are not made from it.
os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "1")

SIZES = {"phone": {"width": 360, "height": 740}, "desk": {"width": 1280, "height": 800}}


def pytest_collection_modifyitems(items):
    for item in items:
        if "tests/browser/" in item.path.as_posix():
            item.add_marker(pytest.mark.browser)


def chromium_path():
    names = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
    return os.environ.get("CHROMIUM") or next(filter(None, map(shutil.which, names)), None)


@pytest.fixture(scope="session")
def chromium():
    from playwright.sync_api import sync_playwright

    path = chromium_path()
    if path is None:
        pytest.skip("Chromium is not installed; set CHROMIUM to its path, or let deploy/test install it")
    with sync_playwright() as playwright:
        options = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
        browser = playwright.chromium.launch(executable_path=path, args=options)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def chart_scripts():
    """The scripts that the set-up makes, where the test server finds them."""
    folder = settings.BUILD_DIR / "scripts"
    scripts.build(folder)
    if folder not in settings.STATICFILES_DIRS:
        settings.STATICFILES_DIRS = [*settings.STATICFILES_DIRS, folder]
        finders.get_finder.cache_clear()
    return folder


@pytest.fixture
def server(chart_scripts, live_server):
    """The address of the running application, without a slash at its end."""
    return live_server.url


@pytest.fixture
def page_of(chromium, server):
    """`page_of(nadia, "phone", dark=True)`: a page in which Nadia is signed in; `page_of(None)` a stranger's."""
    contexts, consoles = [], []

    def opened(person=None, size="phone", dark=False, noisy=False, script=True, **options):
        options = {
            "viewport": SIZES[size], "color_scheme": "dark" if dark else "light", "java_script_enabled": script,
            "has_touch": size == "phone", "is_mobile": size == "phone", "reduced_motion": "reduce",
        } | options  # fmt: skip
        context = chromium.new_context(**options)
        contexts.append(context)
        if person is not None:
            client = Client()
            client.force_login(person, backend="fleet.people.backends.PersonBackend")
            key = client.cookies[settings.SESSION_COOKIE_NAME].value
            context.add_cookies([{"name": settings.SESSION_COOKIE_NAME, "value": key, "url": server}])
        page = context.new_page()
        page.set_default_timeout(10_000)
        if not noisy:
            consoles.append(Console(page))
        return page

    yield opened
    for context in contexts:
        context.close()
    for console in consoles:
        console.must_be_clean()
