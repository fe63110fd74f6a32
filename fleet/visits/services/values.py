"""Reads a step's values: what a page or a phone sent becomes numbers, codes and texts, or a sentence says why not."""

import math
import uuid

from django.utils.translation import gettext as _

from fleet.web.refusals import Refused

LONGEST_NOTE = 8000
DEEPEST = 12


def storable(value, depth=0):
    """What came as JSON without what the database cannot hold: NUL signs, halves of signs, numbers without end."""
    if isinstance(value, str):
        return value.replace("\0", "").encode("utf-8", "replace").decode()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) > 10**30:
        return None
    if depth > DEEPEST:
        return None
    if isinstance(value, dict):
        return {storable(str(k)): storable(v, depth + 1) for k, v in value.items()}
    if isinstance(value, list):
        return [storable(v, depth + 1) for v in value]
    return value


# What may stand behind a figure that was typed in another unit than the house's own, and how much of ours it is.
OTHER_UNITS = {
    "m": {"m": 1.0, "ft": 0.3048},
    "L/min": {"l/min": 1.0, "m³/h": 1 / 0.06, "m3/h": 1 / 0.06},
}  # fmt: skip


def number_of(value, field, label="", unit=""):
    """A finite number of `unit`; a decimal comma is read as a point, "72.3 ft" as metres where metres are wanted."""
    size = 1.0
    if isinstance(value, str):
        for behind, much in OTHER_UNITS.get(unit, {}).items():
            if value.strip().lower().endswith(behind):
                value, size = value.strip()[: -len(behind)], much
                break
    if isinstance(value, bool):
        raise Refused("not_a_number", _("%(what)s: give a number.") % {"what": label}, field=field)
    if isinstance(value, str):
        value = value.strip().replace("\u202f", "").replace("\u00a0", "").replace(" ", "").replace(",", ".")
        if value == "":
            return None
    if value is None:
        return None
    try:
        number = float(value)
    except (TypeError, ValueError):
        raise Refused(
            "not_a_number",
            _("%(what)s: “%(found)s” is no number. Write it like 12.5, without the unit.")
            % {"what": label, "found": str(value)[:40]},
            field=field,
        ) from None
    if not math.isfinite(number):
        raise Refused("not_a_number", _("%(what)s: give a number.") % {"what": label}, field=field)
    return number * size


def _bucket_rows(value, field, label):
    rows = []
    if not isinstance(value, list):
        raise Refused("not_buckets", _("%(what)s: give litres and seconds.") % {"what": label}, field=field)
    for row in value:
        if not isinstance(row, dict):
            raise Refused("not_buckets", _("%(what)s: give litres and seconds.") % {"what": label}, field=field)
        litres, seconds = number_of(row.get("litres"), field, label), number_of(row.get("seconds"), field, label)
        if litres is None and seconds is None:
            continue
        if litres is None or seconds is None or litres < 0 or seconds <= 0:
            sentence = _("%(what)s: each fill needs litres, 0 where none came, and seconds above zero.")
            raise Refused("fill_incomplete", sentence % {"what": label}, field=field)
        rows.append({"litres": litres, "seconds": seconds})
    return rows


def _uuid(text, field):
    try:
        return str(uuid.UUID(str(text)))
    except ValueError:
        raise Refused("no_key", _("The key of this spot test cannot be read."), field=field) from None


SPOT_NUMBERS = (
    "irradiance_w_m2", "module_isc_a", "cell_c", "air_c", "array_voltage_v", "array_current_a", "output_voltage_v",
    "output_current_a", "flow_l_min", "meter_flow_l_min", "static_level_m", "pumping_level_m", "first_water_min",
    "insulation_mohm", "loop_ohm",
)  # fmt: skip
SPOT_UNITS = {"flow_l_min": "L/min", "meter_flow_l_min": "L/min", "static_level_m": "m", "pumping_level_m": "m"}
SUN_BY = {"reference_cell", "pyranometer", "module_isc", "clear_sky", "none"}


def clean_spot(value, field, label=""):
    """A spot test's readings, numbers read; unknown things dropped."""
    if not isinstance(value, dict):
        raise Refused("not_readings", _("%(what)s: readings are missing.") % {"what": label}, field=field)
    found = {name: number_of(value.get(name), name, label, SPOT_UNITS.get(name, "")) for name in SPOT_NUMBERS}
    found = {name: number for name, number in found.items() if number is not None}
    found["repeats"] = _bucket_rows(value.get("repeats") or [], field, label)
    if value.get("no_water") is True:
        # Ticked at the well, it is what was seen; what stood in the fields that the tick took away was typed before.
        watched = number_of(value.get("watched_min"), "watched_min", label)
        found |= {"no_water": True, "repeats": []} | ({"watched_min": watched} if watched and watched > 0 else {})
        found.pop("flow_l_min", None)
    if found["repeats"] and "flow_l_min" in found and value.get("flow_by") != "meter":
        # The bucket is the flow; what was read at the meter beside it tells of the meter.
        found.setdefault("meter_flow_l_min", found.pop("flow_l_min"))
    sun_by = value.get("sun_by") or "none"
    if sun_by not in SUN_BY:
        raise Refused("unknown_code", _("Say how the irradiance was got."), field="sun_by")
    found["sun_by"] = sun_by
    by_figures = "bucket" if found["repeats"] else "meter" if "flow_l_min" in found else "none"
    flow_by = "bucket" if found.get("no_water") else value.get("flow_by") or by_figures
    if flow_by not in {"bucket", "meter", "none"}:
        raise Refused("unknown_code", _("Say how the flow was measured."), field="flow_by")
    found["flow_by"] = flow_by
    if isinstance(value.get("main_was_full"), bool):
        found["main_was_full"] = value["main_was_full"]
    if value.get("key"):
        found["key"] = _uuid(value["key"], field)
    for name in ("at", "notes", "instrument"):
        if isinstance(value.get(name), str) and value[name]:
            found[name] = value[name][:200] if name == "instrument" else value[name][:LONGEST_NOTE]
    if isinstance(value.get("shown"), dict):
        found["shown"] = value["shown"]  # what the telephone answered on the spot
    return found


def _numbers(capture, value, label):
    """Kept as they came, one by one: a list where several are asked for or given."""
    code, unit = capture["code"], capture.get("unit", "")
    if isinstance(value, list):
        return [n for n in (number_of(v, code, label, unit) for v in value) if n is not None]
    number = number_of(value, code, label, unit)
    if number is not None and capture.get("repeats", 1) != 1:
        return [number]
    return number


def clean_values(step, values):
    """The values of a step's captures, read; empty ones left out. Refuses by capture code."""
    if not isinstance(values, dict):
        raise Refused("not_values", _("The step's values are missing."))
    values = storable(values)
    found = {}
    for capture in step.get("captures", []):
        code, kind, label = capture["code"], capture["kind"], _(capture["label"]) if capture.get("label") else ""
        value = values.get(code)
        if value is None or value == "" or value == []:
            continue
        if kind == "number":
            value = _numbers(capture, value, label)
        elif kind == "buckets":
            value = _bucket_rows(value, code, label)
        elif kind == "spot":
            value = clean_spot(value, code, label)
        elif kind == "yes_no":
            value = {"yes": True, "no": False}.get(value, value) if isinstance(value, str) else value
            if not isinstance(value, bool):
                raise Refused("not_yes_no", _("%(what)s: say yes or no.") % {"what": label}, field=code)
        elif kind == "choice":
            if value not in [o["code"] for o in capture["options"]]:
                raise Refused("unknown_code", _("%(what)s: choose one.") % {"what": label}, field=code)
        elif kind == "serial":
            value = [str(v).strip()[:60] for v in (value if isinstance(value, list) else [value]) if str(v).strip()]
            if capture.get("repeats", 1) == 1:
                value = value[0] if value else None
        elif kind == "mark":
            if not isinstance(value, list) or len(str(value)) > 60_000:
                raise Refused("not_a_mark", _("%(what)s: the mark cannot be read.") % {"what": label}, field=code)
        elif kind == "photo":
            value = [str(v)[:40] for v in value] if isinstance(value, list) else None
        else:
            value = str(value)[:LONGEST_NOTE]
        if value is not None and value != []:
            found[code] = value
    return found
