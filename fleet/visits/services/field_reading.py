"""What a telephone sent for a step and what stands there, in words that can be laid side by side."""

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.visits.services.values import clean_values
from fleet.web.refusals import Refused

READINGS = {
    "sun_by": (gettext_lazy("Irradiance got from"), ""), "irradiance_w_m2": (gettext_lazy("Irradiance"), "W/m²"),
    "module_isc_a": (gettext_lazy("Short-circuit current of a module"), "A"),
    "cell_c": (gettext_lazy("Cell temperature"), "°C"), "static_level_m": (gettext_lazy("Static level"), "m"),
    "pumping_level_m": (gettext_lazy("Pumping level"), "m"), "array_voltage_v": (gettext_lazy("Array voltage"), "V"),
    "array_current_a": (gettext_lazy("Array current"), "A"), "flow_l_min": (gettext_lazy("Flow by the meter"), "L/min"),
    "repeats": (gettext_lazy("Fills"), ""),
}  # fmt: skip


def readable(step, values):
    """{capture or capture.reading: words} of a step's values, read as they would be kept, else as they came."""
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
                    found[f"{code}.{name}"] = _in_words(value[name], unit)
        elif value is not None:
            options = {o["code"]: o["label"] for o in capture.get("options", [])}
            found[code] = str(options[value]) if _hashable(value) in options else _in_words(value, capture.get("unit"))
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


def _in_words(value, unit):
    if value is True:
        return _("yes")
    if value is False:
        return _("no")
    if isinstance(value, list):
        if value and isinstance(value[0], dict) and "litres" in value[0]:
            return "; ".join(f"{row['litres']:g} L / {row['seconds']:g} s" for row in value)
        if value and isinstance(value[0], list):
            return _("a mark")
        return "; ".join(_in_words(one, "") for one in value) + (f" {unit}" if unit else "")
    text = f"{value:g}" if isinstance(value, int | float) else str(value)
    return f"{text} {unit}" if unit else text
