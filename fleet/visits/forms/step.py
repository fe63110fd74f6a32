"""The form of one step, made from its captures: it works without JavaScript."""

import json
from dataclasses import dataclass, field

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.visits.procedures.reading import how_many
from fleet.web import typed_units

SPOT_FIELDS = [
    ("irradiance_w_m2", gettext_lazy("Irradiance in the modules' plane"), "W/m²"),
    ("module_isc_a", gettext_lazy("or short-circuit current of one clean module"), "A"),
    ("cell_c", gettext_lazy("Cell temperature"), "°C"),
    ("array_voltage_v", gettext_lazy("Array voltage"), "V"),
    ("array_current_a", gettext_lazy("Array current"), "A"),
    ("output_voltage_v", gettext_lazy("Voltage at the box's output, if it gives direct current"), "V"),
    ("output_current_a", gettext_lazy("Current at the box's output"), "A"),
    ("static_level_m", gettext_lazy("Static level below datum"), "m"),
    ("pumping_level_m", gettext_lazy("Pumping level below datum"), "m"),
    ("flow_l_min", gettext_lazy("Flow by the meter, instead of the bucket or beside it"), "L/min"),
    ("watched_min", gettext_lazy("Minutes watched without water"), "min"),
]
SPOT_NAMES = {"sun_by", "repeats", "no_water", *(name for name, _label, _unit in SPOT_FIELDS)}
SUN_CHOICES = [
    ("reference_cell", gettext_lazy("reference cell")),
    ("pyranometer", gettext_lazy("pyranometer")),
    ("module_isc", gettext_lazy("short-circuit current of a module")),
    ("clear_sky", gettext_lazy("clear sky, no instrument")),
    ("none", gettext_lazy("not known")),
]


@dataclass
class Input:
    """One input as the page draws it."""

    name: str
    value: str = ""
    label: str = ""
    unit: str = ""


@dataclass
class Shown:
    """One capture as the page draws it."""

    code: str
    kind: str
    label: str
    unit: str = ""
    required: bool = True
    error: str = ""
    hint: str = ""
    inputs: list = field(default_factory=list)
    rows: list = field(default_factory=list)
    options: list = field(default_factory=list)
    value: str = ""
    none_came: Input | None = None


def _name(code, *more):
    return "-".join(("v", code, *map(str, more)))


def _text(value):
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) and abs(value) < 1e6 else str(value)


def read(step, post, installation, person=None, kept=None):
    """The typed values of a step, as they stand on the page: texts, lists of texts, rows of texts.

    Beside a unit that is the person's and not the house's, the unit stands behind the figure. `kept`: the values that
    were shown.
    """
    found, kept = {}, kept or {}
    for capture in step.get("captures", []):
        code, kind = capture["code"], capture["kind"]
        if kind in {"number", "serial"}:
            n = how_many(capture, installation)
            typed = [post.get(_name(code, i), "").strip() for i in range(n)]
            if kind == "number":
                typed = [
                    typed_units.typed(text, capture.get("unit", ""), person, _nth(kept.get(code), i))
                    for i, text in enumerate(typed)
                ]
            found[code] = typed[0] if n == 1 else [t for t in typed if t != ""]
        elif kind == "buckets":
            found[code] = _rows(post, code, capture.get("repeats", 3))
        elif kind == "spot":
            was = _with_meter(kept.get(code))
            readings = {
                name: typed_units.typed(post.get(_name(code, name), "").strip(), unit, person, was.get(name))
                for name, _label, unit in SPOT_FIELDS
            }
            readings["sun_by"] = post.get(_name(code, "sun_by"), "")
            readings["repeats"] = _rows(post, code, capture.get("repeats", 3))
            readings["no_water"] = bool(post.get(_name(code, "no_water")) or readings["watched_min"])
            typed = any(readings[name] != "" for name, _label, _unit in SPOT_FIELDS)
            anything = typed or readings["repeats"] or readings["no_water"]
            found[code] = readings if anything else None
        elif kind == "mark":
            try:
                found[code] = json.loads(post.get(_name(code), "") or "null")
            except ValueError:
                found[code] = None
        elif kind != "photo":
            found[code] = post.get(_name(code), "").strip()
    return found


def _with_meter(value):
    """A spot test's readings with the meter's figure in its one field, whether it stood beside the bucket or alone."""
    readings = value if isinstance(value, dict) else {}
    beside = readings.get("meter_flow_l_min")
    return readings if beside is None else {**readings, "flow_l_min": beside}


def _nth(value, i):
    values = value if isinstance(value, list) else [value]
    return values[i] if i < len(values) else None


def _rows(post, code, n):
    rows = []
    for i in range(n):
        litres, seconds = (post.get(_name(code, i, part), "").strip() for part in ("litres", "seconds"))
        if litres or seconds:
            rows.append({"litres": litres, "seconds": seconds})
    return rows


def _in_unit(value, unit, person):
    if value is None or value == "" or typed_units.liked(unit, person)[0] == unit:
        return _text(value)
    return typed_units.shown(value, unit, person)


def show(step, values, installation, errors=None, person=None):
    """The step's captures as the page draws them, with what was typed or kept, and each fault at its place.

    `step` is in the reader's language already.
    """
    errors, found = errors or {}, []
    for capture in step.get("captures", []):
        code, kind, value = capture["code"], capture["kind"], values.get(capture["code"])
        shown = Shown(
            code=code, kind=kind, label=capture["label"], unit=capture.get("unit", ""), hint=capture.get("hint", ""),
            required=capture.get("required", True), error=errors.get(code, ""),
        )  # fmt: skip
        if kind in {"number", "serial"}:
            n = how_many(capture, installation)
            unit = typed_units.liked(shown.unit, person)[0]
            for i in range(n):
                typed = _in_unit(_nth(value, i), shown.unit, person)
                label = capture["label"]
                if n > 1:
                    label = _("%(what)s, no. %(n)d") % {"what": label, "n": i + 1}
                shown.inputs.append(Input(_name(code, i), typed, label, unit))
        elif kind == "buckets":
            shown.rows = _shown_rows(code, value, capture.get("repeats", 3))
        elif kind == "spot":
            readings = _with_meter(value)
            shown.inputs = [
                Input(_name(code, name), _in_unit(readings.get(name), unit, person), str(label),
                      typed_units.liked(unit, person)[0])
                for name, label, unit in SPOT_FIELDS
            ]
            shown.options = [
                {"code": c, "label": label, "name": _name(code, "sun_by"),
                 "checked": (readings.get("sun_by") or "reference_cell") == c}
                for c, label in SUN_CHOICES
            ]  # fmt: skip
            shown.rows = _shown_rows(code, readings.get("repeats"), capture.get("repeats", 3))
            shown.none_came = Input(_name(code, "no_water"), "yes" if readings.get("no_water") else "")
            for faulty in ("sun_by", "repeats", *(n for n, _l, _u in SPOT_FIELDS)):
                shown.error = shown.error or errors.get(faulty, "")
        elif kind in {"yes_no", "choice"}:
            options = capture.get("options") or [{"code": "yes", "label": _("yes")}, {"code": "no", "label": _("no")}]
            shown.options = [
                {"code": o["code"], "label": o["label"], "name": _name(code), "checked": _text(value) == o["code"]}
                for o in options
            ]
        shown.value = _text(value) if kind in {"note", "clock"} else ""
        found.append(shown)
    return found


def _shown_rows(code, value, n):
    rows = value if isinstance(value, list) else []
    found = []
    for i in range(n):
        row = rows[i] if i < len(rows) and isinstance(rows[i], dict) else {}
        found.append(
            {
                "n": i + 1,
                "litres": Input(_name(code, i, "litres"), _text(row.get("litres")), _("Litres"), "L"),
                "seconds": Input(_name(code, i, "seconds"), _text(row.get("seconds")), _("Seconds"), "s"),
            }
        )
    return found
