"""Pages that belong to no room: the door for programs, its guide, and what is shown when things fail."""

import pytest

from tests.browser.checks import no_accessibility_faults, opens, shot, targets_are_large


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_the_door_for_programs_is_accessible_and_leads_to_the_guide(page_of, server, nadia, size):
    page = page_of(nadia, size)
    opens(page, server + "/api/")
    no_accessibility_faults(page)
    targets_are_large(page)
    shot(page, f"api-door-{size}")
    page.get_by_role("link", name="Guide to the API").click()
    page.get_by_role("button", name="Expand operation").first.wait_for()  # drawn by its script, without a network
    rooms = page.locator(".opblock-tag")
    assert {"judgement", "people", "registry", "visits"} <= set(rooms.all_inner_texts())
    page.locator(".opblock-tag", has_text="people").click()
    page.get_by_text("/api/v1/me/", exact=True).first.wait_for()


FAILING = [("/nowhere/", "Nothing here"), ("/people/colleagues/", "Not for your role")]


@pytest.mark.parametrize(("path", "words"), FAILING)
def test_error_pages_are_accessible(page_of, server, nadia, path, words):
    page = page_of(nadia, "phone", noisy=True)
    page.goto(server + path)
    page.get_by_role("heading", name=words).wait_for()
    no_accessibility_faults(page)
    shot(page, words.lower().replace(" ", "-"))


def test_the_menu_opens_without_scripts_and_closes_with_escape_with_them(page_of, server, amara):
    page = page_of(amara, "phone", script=False)
    opens(page, server + "/people/me/")
    page.get_by_text("Menu", exact=True).click()
    assert page.get_by_role("navigation", name="Whole menu").get_by_role("link", name="Organisation").is_visible()
    page = page_of(amara, "phone")
    opens(page, server + "/people/me/")
    page.get_by_text("Menu", exact=True).click()
    assert page.get_by_role("searchbox", name="Find a unit").is_visible(), "the search box is in the phone's menu"
    no_accessibility_faults(page)
    targets_are_large(page)
    shot(page, "menu-phone", whole=False)
    page.keyboard.press("Escape")
    assert not page.get_by_role("navigation", name="Whole menu").is_visible()


def test_the_keyboard_skips_the_menu(page_of, server, amara):
    page = page_of(amara, "desk")
    opens(page, server + "/people/me/")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_a_page_prints_without_its_frame(page_of, server, amara):
    page = page_of(amara, "desk")
    opens(page, server + "/people/colleagues/")
    page.emulate_media(media="print")
    assert not page.locator("header.top").is_visible()
    assert not page.locator("nav.side").is_visible()
    assert page.get_by_role("cell", name="amara", exact=True).is_visible()
