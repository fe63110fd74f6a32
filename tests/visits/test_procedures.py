"""The built-in procedures can be used, say what can hurt, and their rules judge as they read."""

import json
from pathlib import Path

import pytest
from django.utils import translation

from fleet.visits import codes, services
from fleet.visits.models import Procedure
from fleet.visits.procedures import CAUTIONS, STEPS, built_in
from fleet.visits.procedures.checking import faults_of
from fleet.visits.procedures.reading import cautions_in_words, in_words, judge_step, missing, out_of_range
from fleet.web.refusals import Refused
from tests.makers.visits import values_for

CASES = json.loads((Path(__file__).parent / "data" / "rule_cases.json").read_text())


@pytest.mark.parametrize("kind", STEPS)
def test_each_built_in_procedure_is_whole(kind):
    steps = built_in(kind)["steps"]
    assert faults_of(steps) == []
    assert len(json.dumps(steps)) < 40_000  # ten visits are packed onto a telephone


@pytest.mark.parametrize("kind", STEPS)
def test_sound_values_pass_each_step_of_each_procedure(kind):
    for step in built_in(kind)["steps"]:
        values = values_for(step)
        if step["code"] == "hang":
            values |= {"pipe_m": 40, "rope_m": 42, "cable_m": 45}
        if step["code"] in {"make_safe"}:
            values["volts_left"] = 0
        if step["code"] == "disinfect":
            values["residual_mg_l"] = 0.2
        if step["code"] == "joint":
            values["joint_mohm"] = 60
        assert judge_step(step, values)[1] == [], step["code"]
        assert missing(step, values) == []
        assert out_of_range(step, values) == []


BUILDING = [  # kind, step, what must be recorded there, what a value that is wrong must be told (or nothing)
    ("installation", "hang", "pump_serial", None),
    ("installation", "modules", "module_serials", None),
    ("installation", "joint", "staggered", False),
    ("installation", "joint", "resin_both_ends", False),
    ("installation", "hang", "couplings_tight", False),
    ("installation", "hang", "rope_m", 1.0),  # pipe shorter than rope, rope shorter than cable
    ("installation", "strings_isolated", "polarity", "reversed"),
    ("installation", "frame", "azimuth_deg", None),
    ("installation", "frame", "azimuth_by", None),
    ("installation", "box", "boxes_shaded", False),
    ("installation", "box", "glands_tight", False),
    ("installation", "seal", "glands_tight", False),
    ("installation", "first_water", "started_at", None),
    ("installation", "first_water", "first_water_min", None),
    ("commissioning", "strings_isolated", "polarity", "reversed"),
    ("commissioning", "first_water", "first_water_min", None),
    ("commissioning", "seal", "glands_tight", False),
]


@pytest.mark.parametrize(("kind", "code", "capture", "wrong"), BUILDING)
def test_what_building_and_commissioning_must_not_forget_is_recorded_and_judged(kind, code, capture, wrong):
    steps = built_in(kind)["steps"]
    step = next(s for s in steps if s["code"] == code)
    found = next(c for c in step["captures"] if c["code"] == capture)
    assert found.get("required", True)
    if wrong is not None:
        values = values_for(step) | ({"pipe_m": 40, "cable_m": 45} if code == "hang" else {})
        assert judge_step(step, values | {capture: wrong})[1], "and what is wrong is told"
    if kind == "installation" and code == "hang":
        order = [s["code"] for s in steps]
        assert order.index("strings_isolated") < order.index("box"), "polarity before anything is joined"
        assert order.index("joint") < order.index("hang")


WHERE_IT_HURTS = [  # step, marks that must stand there
    ("commissioning", "strings_isolated", {"DC"}),
    ("commissioning", "insulation", {"DC", "CAP"}),
    ("commissioning", "disinfect", {"CHLOR", "CLEAN", "WELL"}),
    ("commissioning", "static_level", {"WELL", "CLEAN"}),
    ("installation", "hang", {"LIFT", "WELL"}),
    ("installation", "joint", {"HOT"}),
    ("installation", "frame", {"HEIGHT"}),
    ("repair", "pull", {"LIFT", "WELL", "STORM"}),
    ("repair", "as_found", {"DC", "ALONE"}),
    ("relocation", "make_safe", {"DC", "CAP"}),
    ("retirement", "frame_down", {"HEIGHT", "LIFT", "DC"}),
    ("inspection", "wash", {"GLASS", "HEIGHT", "DC"}),
]


@pytest.mark.parametrize(("kind", "code", "marks"), WHERE_IT_HURTS)
def test_where_it_can_hurt_the_caution_stands(kind, code, marks):
    step = next(s for s in built_in(kind)["steps"] if s["code"] == code)
    assert marks <= set(step["cautions"])


def test_every_caution_defers_to_local_codes():
    for caution in cautions_in_words().values():
        assert "Local codes" in caution["full"]
        assert len(caution["short"]) < 100


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_rules_judge_as_the_shared_cases_say(case):
    passed, sentences, stop = judge_step(case["step"], case["values"], case.get("known"))
    assert passed is case["passed"]
    assert len(sentences) == case["broken"]
    assert stop is case["stop"]


def test_a_procedure_with_faults_is_refused_with_all_of_them():
    steps = [
        {"code": "a", "title": "One", "cautions": ["FIRE"], "captures": [{"code": "x", "kind": "smell"}], "rules": []},
        {"code": "a", "title": "Again", "captures": [], "rules": [{"kind": "yes", "of": "y"}]},
    ]
    found = " ".join(faults_of(steps))
    assert "FIRE" in found
    assert "twice" in found
    assert "capture" in found
    assert "rule names" in found


def one_step(**more):
    return [{"code": "a", "title": "One", "captures": [{"code": "x", "kind": "number", "label": "X"}]} | more]


NOT_USABLE = [  # steps as somebody might write them, what the sentence says
    ("steps", "at least one step"),
    ([7], "code and a title"),
    (one_step(code=["a"]), "code and a title"),
    (one_step(title="\0"), "code and a title"),
    (one_step(text=3), "its text is words"),
    (one_step(cautions="DC"), "are lists"),
    (one_step(cautions=[["DC"]]), "no known caution"),
    (one_step(captures=["x"]), "a capture needs"),
    (one_step(captures=[{"code": "x", "kind": ["note"], "label": "X"}]), "a capture needs"),
    (one_step(captures=[{"code": "x", "kind": "note"}]), "“label” of “x”"),
    (one_step(captures=[{"code": "x", "kind": "number", "label": "X", "low": 1}]), "“high” of “x”"),
    (one_step(captures=[{"code": "x", "kind": "number", "label": "X", "repeats": 10**9}]), "“repeats” of “x”"),
    (one_step(captures=[{"code": "x", "kind": "spot", "label": "X", "repeats": "strings"}]), "“repeats” of “x”"),
    (one_step(captures=[{"code": "x", "kind": "choice", "label": "X", "options": ["a"]}]), "“options” of “x”"),
    (one_step(rules=[{"kind": "yes", "of": "x"}]), "“otherwise” of “yes”"),
    (one_step(rules=[{"kind": "near", "of": "x", "to": "y", "within": 0.1, "otherwise": "No."}]), "names a capture"),
    (one_step(rules=[{"kind": "alike", "of": "x", "within": "0.1", "otherwise": "No."}]), "“within” of “alike”"),
    (one_step(rules=[{"kind": "yes", "of": {"x": 1}, "otherwise": "No."}]), "names a capture"),
    (one_step(rules=[[]]), "unknown rule"),
]


@pytest.mark.parametrize(("steps", "said"), NOT_USABLE)
def test_whatever_stands_in_a_procedure_its_fault_is_a_sentence(steps, said):
    assert faults_of(one_step()) == []
    assert said in " ".join(faults_of(steps))


def test_texts_are_translated_where_they_are_shown():
    with translation.override("en"):
        shown = in_words(built_in("inspection")["steps"])
    assert shown[0]["title"] == "Arrive and talk it through"


def test_an_administrator_puts_a_new_version_in_use_and_old_visits_keep_theirs(amara, nadia, organisation):
    first = services.procedure_for(organisation, "inspection")
    steps = [*first.steps[:3]]
    with pytest.raises(Refused, match="role"):
        services.change_procedure(procedure=first, title="Short", steps=steps, by=nadia)
    second = services.change_procedure(procedure=first, title="Short", steps=steps, by=amara)
    assert second.version == 2
    assert services.procedure_for(organisation, "inspection") == second
    assert Procedure.objects.get(pk=first.pk).steps == first.steps
    services.bring_back(procedure=first, by=amara)
    assert services.procedure_for(organisation, "inspection") == first


def test_a_version_that_is_not_whole_is_refused(amara, organisation):
    first = services.procedure_for(organisation, "inspection")
    with pytest.raises(Refused, match="at least one step"):
        services.change_procedure(procedure=first, title="Empty", steps=[], by=amara)


def test_code_lists_name_each_other_rightly():
    assert set(codes.TEACHES) <= set(codes.CAUSES)
    assert set(codes.TEACHES.values()) <= set(codes.CAUSES)
    assert set(codes.DANGERS) <= set(codes.CAUSES)
    named = {cause for _name, causes in codes.PARTS.values() for cause in causes}
    assert named - set(codes.CAUSES) == set()
    assert set(CAUTIONS) == {
        "DC", "CAP", "HEIGHT", "LIFT", "WELL", "HOT", "STORM", "CLEAN", "CHLOR", "ALONE", "GLASS",
    }  # fmt: skip


def test_setting_up_twice_changes_nothing(organisation):
    services.set_up(organisation)
    before = (organisation.procedures.count(), organisation.inspection_rules.count(), organisation.part_types.count())
    services.set_up(organisation)
    assert before == (
        organisation.procedures.count(), organisation.inspection_rules.count(), organisation.part_types.count(),
    )  # fmt: skip
    assert before[0] == 7
