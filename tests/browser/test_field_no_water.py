"""No water came: told at the well without signal, with the minutes watched, and answered as at the desk."""

import json
import re

import pytest

from fleet.output import services as output
from fleet.readings.models import SpotTest
from fleet.readings.services import keep_spot_test
from fleet.visits import services
from fleet.visits.services.values import clean_spot
from tests.browser.checks import no_accessibility_faults, shot, targets_are_large
from tests.browser.field import acknowledge, press_keep
from tests.browser.test_field_log import all_home, open_visit, visit  # noqa: F401 - a fixture
from tests.makers.readings import NOON

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.mark.parametrize("like", ["SI", "feet"])
def test_no_water_is_ticked_in_place_of_fills_and_comes_home_as_a_spot_test(phone_of, visit, idris, like):  # noqa: F811
    if like == "feet":
        idris.flow_unit, idris.length_unit = "m3_h", "ft"
        idris.save()
    phone = phone_of(idris, viewport={"width": 390, "height": 844})
    page = phone.pack()
    phone.offline()
    open_visit(page, visit)
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/spot_test")
    page.get_by_text("reference cell").first.check()
    page.get_by_label("Irradiance in the modules").fill("800")
    acknowledge(page)
    page.get_by_text("No water came").first.check()
    assert page.get_by_role("group", name="Fill 1").count() == 0, "neither litres nor seconds are asked for"
    press_keep(page)
    page.locator(".notice-bad", has_text="how many minutes you watched").wait_for()
    minutes, answer = page.get_by_label("Minutes watched without water"), page.locator(".spot-answer")
    minutes.fill("0,1")
    assert "cannot tell" in answer.inner_text() and "Watch it for longer" in answer.inner_text()
    minutes.fill("25")
    answer.get_by_text("No water came in 25 minutes").wait_for()
    assert "below what is expected" in answer.inner_text()
    no_accessibility_faults(page)
    targets_are_large(page)
    shot(page, f"field-no-water-{like}")
    press_keep(page)
    page.get_by_role("button", name="Next").wait_for()
    shot(page, f"field-no-water-kept-{like}")
    phone.offline(False)
    all_home(page)
    test = SpotTest.objects.get(kind="visit")
    assert (test.no_water, test.watched_min, test.flow_by, test.repeats) == (True, 25, "bucket", [])
    assert services.current_records(visit)["spot_test"].values["spot"]["answer"]["verdict"] == "below"


def test_a_tick_taken_back_asks_for_the_fills_again(phone_of, visit, idris):  # noqa: F811
    phone = phone_of(idris)
    page = phone.pack()
    open_visit(page, visit)
    page.goto(phone.server + f"/field/#/visit/{visit.key}/step/spot_test")
    page.get_by_text("No water came").first.check()
    page.get_by_text("No water came").first.uncheck()
    assert page.get_by_role("group", name=re.compile("Fill")).count() == 3


SAID = {
    "ticked": {"no_water": True, "watched_min": "25"},
    "too short": {"no_water": True, "watched_min": "0.2"},
    "too short on a full main": {"no_water": True, "watched_min": "0.2", "main_was_full": True},
    "empty fills": {"repeats": [{"litres": "0", "seconds": "600"}] * 3},
    "what was typed before": {"no_water": True, "watched_min": "25", "flow_l_min": "12",
                              "repeats": [{"litres": "20", "seconds": "80"}]},
    "a dark sky": {"no_water": True, "watched_min": "25", "irradiance_w_m2": "100"},
}  # fmt: skip
ANSWER = """async ([card, values, module]) => {
  const { answer } = await import(module + "card.js");
  const { verdict, measured, because, ratio } = answer(card, values);
  return { verdict, measured, because, ratio };
}"""


def test_telephone_and_desk_say_the_same_of_it(phone_of, visit, idris):  # noqa: F811
    packed = json.loads(json.dumps(services.bundle(by=idris)))
    phone = phone_of(idris)
    phone.page.goto(phone.server + "/field/")
    verdicts = set()
    for n, (name, said) in enumerate(SAID.items()):
        typed = {"sun_by": "reference_cell", "irradiance_w_m2": "800", "static_level_m": "22"} | said
        told = phone.page.evaluate(ANSWER, [packed["visits"][0]["card"], typed, "/static/visits/field/"])
        readings = clean_spot(typed, "spot")
        test, _new = keep_spot_test(installation=visit.installation, at=NOON.replace(minute=n), kind="visit",
                                    **{k: v for k, v in readings.items() if k != "shown"})  # fmt: skip
        answer = output.answer_spot(visit.installation, test)
        assert (told["verdict"], told["because"]) == (answer["verdict"], answer["because"]), name
        assert told["measured"] == answer["measured_l_min"] == 0, name
        verdicts.add(told["verdict"])
    assert verdicts == {"below", "cannot_tell"}
