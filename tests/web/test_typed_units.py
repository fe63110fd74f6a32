"""Figures typed and shown in the unit that the person likes; what is kept is metres and litres a minute."""

from types import SimpleNamespace

import pytest
from django import forms

from fleet.web import typed_units
from fleet.web.typed_units import InFeet, lengths_as_liked

FEET = SimpleNamespace(length_unit="ft", flow_unit="m3_h")
METRES = SimpleNamespace(length_unit="m", flow_unit="l_min")


class Built(forms.Form):
    setting_depth_m = forms.FloatField(label="Setting depth, m", min_value=0, max_value=400, required=False)
    tilt_deg = forms.FloatField(label="Tilt, degrees", required=False)


def built(data=None, person=FEET, **initial):
    form = Built(data, initial=initial)
    lengths_as_liked(form, person)
    return form


def test_a_length_is_shown_and_typed_in_feet_and_kept_in_metres():
    form = built({"setting_depth_m": "100", "tilt_deg": "15"}, setting_depth_m=18.4)
    assert form.fields["setting_depth_m"].label == "Setting depth, ft"
    assert form.is_valid()
    assert form.cleaned_data == {"setting_depth_m": pytest.approx(30.48), "tilt_deg": 15}
    assert built(setting_depth_m=18.4)["setting_depth_m"].value() == "60.37"


@pytest.mark.parametrize("kept_m", [18.4, 0.1, 33.333333, 0.0])
def test_a_length_that_nobody_touched_stays_exactly_what_it_was(kept_m):
    text = built(setting_depth_m=kept_m)["setting_depth_m"].value()
    form = built({"setting_depth_m": text}, setting_depth_m=kept_m)
    assert form.is_valid()
    assert form.cleaned_data["setting_depth_m"] == kept_m
    assert not form.has_changed()


@pytest.mark.parametrize(
    ("typed", "said"), [("1400", "0 to 1312.34 ft"), ("-1", "0 to 1312.34 ft"), ("deep", "number")]
)
def test_a_refusal_names_feet(typed, said):
    form = built({"setting_depth_m": typed})
    assert not form.is_valid()
    assert said in form.errors["setting_depth_m"][0]


def test_whoever_likes_metres_gets_the_form_as_it_is():
    form = built({"setting_depth_m": "100"}, METRES)
    assert form.is_valid()
    assert form.cleaned_data["setting_depth_m"] == 100
    assert not isinstance(form.fields["setting_depth_m"], InFeet)


def test_a_comma_is_a_point_and_nothing_is_nothing():
    assert built({"setting_depth_m": "60,5"}).fields["setting_depth_m"].clean("60,5") == pytest.approx(18.4404)
    form = built({"setting_depth_m": ""}, setting_depth_m=18.4)
    assert form.is_valid()
    assert form.cleaned_data["setting_depth_m"] is None


def test_a_reading_goes_on_with_its_unit_behind_it_and_comes_back_without():
    assert typed_units.typed("72.3", "m", FEET) == "72.3 ft"
    assert typed_units.typed("0.9", "L/min", FEET) == "0.9 m³/h"
    assert typed_units.typed("72.3", "m", METRES) == "72.3"
    assert typed_units.typed("800", "W/m²", FEET) == "800"
    assert typed_units.shown("72.3 ft", "m", FEET) == "72.3"
    assert typed_units.shown(15.0, "L/min", FEET) == "0.9"
    assert typed_units.typed("73.49", "m", FEET, kept=22.4) == 22.4
