"""Every part of the look, drawn by a real browser under the real content security policy."""

from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from tests.browser.checks import no_accessibility_faults, opens, shot, targets_are_large


@pytest.fixture
def gallery(settings, server):
    settings.ROOT_URLCONF = "tests.web.gallery"
    templates = dict(settings.TEMPLATES[0])
    templates["DIRS"] = [*templates["DIRS"], Path(__file__).parent.parent / "web" / "templates"]
    settings.TEMPLATES = [templates]
    return server + "/gallery/"


def all_drawn(page):
    """Scroll through, so that each chart comes near the window; wait until it stands."""
    figures = page.locator("figure.chart:has(.chart-place)")
    for i in range(figures.count()):
        figures.nth(i).scroll_into_view_if_needed()
        figures.nth(i).locator("svg.marks").wait_for()
    page.evaluate("scrollTo(0, 0)")


@pytest.mark.parametrize("size", ["phone", "desk"])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_every_part_is_accessible_and_the_console_stays_clean(page_of, gallery, amara, size, dark):
    page = page_of(amara, size, dark)
    opens(page, gallery)
    all_drawn(page)
    page.locator("[data-map][data-ready]").wait_for()
    no_accessibility_faults(page)
    targets_are_large(page)
    shot(page, f"gallery-{size}{'-dark' if dark else ''}")


def test_a_chart_can_be_pointed_at_and_read_as_a_table(page_of, gallery, amara):
    page = page_of(amara, "desk")
    opens(page, gallery)
    all_drawn(page)
    figure = page.locator("figure.chart").first
    figure.scroll_into_view_if_needed()
    page.wait_for_timeout(200)  # a tip goes away when the page scrolls
    figure.locator("svg .mark-symbol path").nth(5).hover(force=True)
    page.locator(".chart-tip:visible").get_by_text("measured").wait_for()
    figure.get_by_text("The figures as a table").click()
    assert figure.locator("tbody tr").count() == 60


def test_the_map_shows_all_places_and_the_keyboard_reaches_them(page_of, gallery, amara):
    page = page_of(amara, "desk")
    opens(page, gallery)
    page.locator("[data-map][data-ready]").wait_for()
    links = page.locator(".map-list a")
    assert links.count() == 40
    links.first.focus()
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('.map-list') !== null")
    # The worst come first.
    assert "danger" in links.first.inner_text()


def test_without_scripts_the_figures_stand_as_tables(page_of, gallery, amara):
    page = page_of(amara, "phone", script=False)
    opens(page, gallery)
    figure = page.locator("figure.chart").first
    figure.get_by_text("The figures as a table").click()
    assert figure.locator("tbody tr").first.is_visible()
    assert not figure.locator(".chart-place").is_visible()


def test_faults_of_a_form_are_listed_and_lead_to_their_fields(page_of, gallery, amara):
    page = page_of(amara, "phone", noisy=True)
    opens(page, gallery)
    page.get_by_label("Depth").last.fill("12.5")
    page.get_by_role("button", name="Keep").click()
    alert = page.get_by_role("alert")
    alert.get_by_text("2 things need mending").wait_for()
    no_accessibility_faults(page)
    alert.get_by_role("link", name="Code").click()
    assert page.get_by_label("Depth").last.input_value() == "12.5"


def boxes_asked(addresses):
    return [[float(v) for v in parse_qs(urlsplit(a).query)["box"][0].split(",")] for a in addresses]


def test_a_map_by_view_asks_again_after_a_move_and_opens_groups(page_of, gallery, amara):
    page = page_of(amara, "desk")
    asked = []
    page.on("request", lambda request: asked.append(request.url) if "/places/" in request.url else None)
    opens(page, gallery + "map/")
    page.locator("[data-map][data-ready]").wait_for()
    west, south, east, north = boxes_asked(asked)[0]
    assert west <= 34 and south <= -1 and east >= 40 and north >= 5 and "zoom=" in asked[0]
    page.get_by_role("button", name="Closer").click()
    page.wait_for_timeout(800)
    assert len(asked) == 2
    closer = boxes_asked(asked)[1]
    assert closer[0] > west and closer[2] < east, "after going closer a smaller box is asked for"
    assert page.locator(".map-count").inner_text() == "Places shown: 1"  # groups are not listed one by one
    no_accessibility_faults(page)
    shot(page, "map-by-view")
