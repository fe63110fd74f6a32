"""Logging in, one's own account and colleagues, in the browser."""

import pytest

from tests.browser.checks import no_accessibility_faults, opens, shot, targets_are_large
from tests.makers.people import PASSWORD

SIZES = ["phone", "desk"]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_pages_of_accounts_are_accessible(page_of, server, amara, nadia, size, dark):
    stranger = page_of(None, size, dark)
    stranger.goto(server + "/people/log-in/")
    no_accessibility_faults(stranger)
    targets_are_large(stranger)
    page = page_of(amara, size, dark)
    for path in ("me/", "me/password/", "me/tokens/add/", "colleagues/", "colleagues/add/",
                 f"colleagues/{nadia.pk}/", "organisation/", "changes/"):  # fmt: skip
        opens(page, f"{server}/people/{path}")
        no_accessibility_faults(page)
        targets_are_large(page)
    shot(page, f"changes-{size}{'-dark' if dark else ''}")


@pytest.mark.parametrize("script", [True, False], ids=["with scripts", "without scripts"])
def test_idris_logs_in_sets_his_units_and_logs_out(page_of, server, idris, script):
    page = page_of(None, "phone", script=script)
    page.goto(server + "/people/me/")
    page.get_by_label("Log-in name").fill("idris")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Log in").click()
    page.get_by_label("cubic metres an hour").check()
    page.get_by_label("feet").check()
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("Kept.").wait_for()
    idris.refresh_from_db()
    assert (idris.flow_unit, idris.length_unit) == ("m3_h", "ft")


def test_a_wrong_password_is_answered_with_a_sentence_and_keeps_the_name(page_of, server, idris):
    page = page_of(None, "phone", noisy=True)
    page.goto(server + "/people/log-in/")
    page.get_by_label("Log-in name").fill("idris")
    page.get_by_label("Password").fill("not this one")
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("alert").get_by_text("do not fit together").wait_for()
    assert page.get_by_label("Log-in name").input_value() == "idris"
    no_accessibility_faults(page)


def test_the_dark_look_is_kept_in_the_account(page_of, server, nadia):
    page = page_of(nadia, "desk")
    page.goto(server + "/people/me/")
    light = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.get_by_label("dark", exact=True).check()
    page.get_by_role("button", name="Keep").click()
    page.get_by_text("Kept.").wait_for()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != light
