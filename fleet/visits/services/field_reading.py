"""What was recorded at a step, in words: on the visit's page, and what a telephone sent beside what stands there."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.readings.models import SpotTest
from fleet.visits.services.values import clean_values
from fleet.web import quantities
from fleet.web.refusals import Refused

READINGS = {
    "sun_by": (gettext_lazy("Irradiance got from"), ""), "irradiance_w_m2": (gettext_lazy("Irradiance"), "W/m²"),
    "module_isc_a": (gettext_lazy("Short-circuit current of a module"), "A"),
    "cell_c": (gettext_lazy("Cell temperature"), "°C"), "static_level_m": (gettext_lazy("Static level"), "m"),
    "pumping_level_m": (gettext_lazy("Pumping level"), "m"), "array_voltage_v": (gettext_lazy("Array voltage"), "V"),
    "array_current_a": (gettext_lazy("Array current"), "A"),
    "output_voltage_v": (gettext_lazy("Voltage at the box's output"), "V"),
    "output_current_a": (gettext_lazy("Current at the box's output"), "A"),
    "flow_l_min": (gettext_lazy("Flow by the meter"), "L/min"),
    "meter_flow_l_min": (gettext_lazy("Flow by the meter beside the bucket"), "L/min"),
    "loop_ohm": (gettext_lazy("Loop resistance"), "Ω"), "first_water_min": (gettext_lazy("Minutes to first water"), ""),
    "repeats": (gettext_lazy("Fills"), ""), "no_water": (gettext_lazy("No water came"), ""),
    "watched_min": (gettext_lazy("Minutes watched without water"), "min"),
}  # fmt: skip


def readable(step, values, person=None):
    """{capture or capture.reading: words} of a step's values, read as they would be kept, else as they came.

    `person`: who reads it, in the units they like.
    """
    values = values if isinstance(values, dict) else {}
    found = {}
    for capture in step["captures"]:
        code = capture["code"]
        if values.get(code) in (None, "", []):
            continue
        try:
            value = clean_values({"captures": [capture]}, {code: values[code]}).get(code)
        except Refused:
            value = values[code]
        if capture["kind"] == "spot" and isinstance(value, dict):
            for name, (_label, unit) in READINGS.items():
                if value.get(name) not in (None, "", []):
                    found[f"{code}.{name}"] = _reading(name, value[name], unit, person)
        elif value is not None:
            options = {o["code"]: o["label"] for o in capture.get("options", [])}
            chosen = options.get(_hashable(value))
            found[code] = str(chosen) if chosen else in_words(value, capture.get("unit"), person)
    return found


def lines_of(step, *sides):
    """(code, label) of every line that one of the sides has, in the order of the step."""
    there = set().union(*sides)
    for capture in step["captures"]:
        if capture["code"] in there:
            yield capture["code"], capture["label"]
        for name, (label, _unit) in READINGS.items():
            if f"{capture['code']}.{name}" in there:
                yield f"{capture['code']}.{name}", label


def _hashable(value):
    return value if isinstance(value, str) else None


SUN_BY = dict(SpotTest.SunBy.choices)


def _reading(name, value, unit, person):
    return str(SUN_BY.get(value, value)) if name == "sun_by" else in_words(value, unit, person)


def spot_in_words(value, person=None):
    """[(label, words)] of a recorded spot test's readings."""
    value = value if isinstance(value, dict) else {}
    return [
        (label, _reading(name, value[name], unit, person))
        for name, (label, unit) in READINGS.items() if value.get(name) not in (None, "", [])
    ]  # fmt: skip


def in_words(value, unit, person=None):
    """A recorded value in short words, with its unit; metres and flows as the person likes them."""
    if value is True:
        return _("yes")
    if value is False:
        return _("no")
    if isinstance(value, dict):
        return _("spot test")
    if isinstance(value, list):
        if value and isinstance(value[0], dict) and "litres" in value[0]:
            return "; ".join(f"{quantities.exact(r['litres'])} L / {quantities.exact(r['seconds'])} s" for r in value)
        if value and isinstance(value[0], list):
            return _("a mark")
        return "; ".join(in_words(one, unit, person) for one in value)
    if isinstance(value, int | float):
        return quantities.in_unit(value, unit, person)
    return f"{value} {unit}" if unit else str(value)
