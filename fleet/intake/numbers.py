"""Readers of figures: decimal commas, thousands, units typed in, and the wrong unit altogether.

A reader is a function (cell, hints) -> value. A cell is a string (CSV) or what a workbook holds: number, yes/no, date.
`hints.decimal_comma` says that this file writes 12,5 for twelve and a half; it is found out before the rows are read.
"""

import math
import re

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.intake.errors import Unreadable

BLANK = {"", "-", "–", "—", "n/a", "na", "#n/a", "nil", "null"}
SPACES = dict.fromkeys(map(ord, "\u00a0\u2009\u202f\u2007' ’"), None)
NUMBER_AND_WORD = re.compile(r"^\s*([-+]?[\d.,'\u00a0\u202f ]*\d)\s*([^\W\d_][^\d_]*\d?)\s*$")
GROUPED = re.compile(r"^[-+]?\d{1,3}(?:[,. '\u00a0\u2009\u202f’]\d{3})+$")
FACTORS = {  # unit -> (what it measures, how many of the first unit of that kind)
    "m": ("length", 1.0), "mm": ("length", 0.001), "cm": ("length", 0.01), "km": ("length", 1000.0),
    "ft": ("length", 0.3048), "in": ("length", 0.0254),
    "l/min": ("flow", 1.0), "l/s": ("flow", 60.0), "l/h": ("flow", 1 / 60), "m3/h": ("flow", 1000 / 60),
    "m3/d": ("flow", 1000 / 1440),
    "l": ("volume", 1.0), "m3": ("volume", 1000.0),
    "w": ("power", 1.0), "kw": ("power", 1000.0),
    "v": ("voltage", 1.0), "mv": ("voltage", 0.001), "a": ("current", 1.0), "ma": ("current", 0.001),
    "kwh/m2": ("irradiation", 1.0), "wh/m2": ("irradiation", 0.001), "mj/m2": ("irradiation", 1 / 3.6),
    "mm2": ("area", 1.0), "kg": ("mass", 1.0), "bar": ("pressure", 1.0), "kpa": ("pressure", 0.01),
    "min": ("time", 1.0), "s": ("time", 1 / 60), "h": ("time", 60.0),
    "mohm": ("insulation", 1.0), "kohm": ("insulation", 0.001),
    "m3/h/m": ("specific capacity", 1.0), "m2/h": ("specific capacity", 1.0), "l/s/m": ("specific capacity", 3.6),
    "w/m2": ("irradiance", 1.0), "kw/m2": ("irradiance", 1000.0),
}  # fmt: skip
WORDS = {
    "metre": "m", "metres": "m", "meter": "m", "meters": "m", "feet": "ft", "foot": "ft", "inch": "in", "inches": "in",
    "litre": "l", "litres": "l", "liter": "l", "liters": "l", "m³": "m3", "m³/h": "m3/h", "lpm": "l/min",
    "volts": "v", "volt": "v", "amps": "a", "watt": "w", "watts": "w", "mm²": "mm2", "kwh/m²": "kwh/m2",
    "m³/d": "m3/d", "m³/day": "m3/d", "m3/day": "m3/d", "minutes": "min", "w/m²": "w/m2",
}  # fmt: skip


TITLES = {
    "m": gettext_lazy("metres"), "mm": gettext_lazy("millimetres"), "cm": gettext_lazy("centimetres"),
    "ft": gettext_lazy("feet"), "in": gettext_lazy("inches"), "l": gettext_lazy("litres"),
    "m3": gettext_lazy("cubic metres"), "l/min": gettext_lazy("litres a minute"),
    "m3/h": gettext_lazy("cubic metres an hour"), "w": gettext_lazy("watts"), "kw": gettext_lazy("kilowatts"),
    "v": gettext_lazy("volts"), "a": gettext_lazy("amperes"), "kg": gettext_lazy("kilograms"),
    "min": gettext_lazy("minutes"), "w/m2": gettext_lazy("W/m²"), "kwh/m2": gettext_lazy("kWh/m²"),
}  # fmt: skip


def spoken(unit):
    """A unit in words, for sentences."""
    return TITLES.get(unit_of(unit) or "", unit)


def unit_of(word):
    """The plain form of a unit's name, or None for a word that is no unit."""
    word = word.strip().strip("().[]").lower().replace(" ", "")
    word = WORDS.get(word, word)
    return word if word in FACTORS else None


def factor(found, wanted):
    """What a figure in `found` is multiplied by to be in `wanted`; None where the two measure different things."""
    found, wanted = unit_of(found or ""), unit_of(wanted or "")
    if found is None or wanted is None or FACTORS[found][0] != FACTORS[wanted][0]:
        return None
    # Rounded: 0.001 / 1 and 1000 / 60 must not leave traces in the twelfth digit.
    return float(f"{FACTORS[found][1] / FACTORS[wanted][1]:.12g}")


def plain_number(cell, hints=None, unit="", example="12.5"):
    """The figure in a cell, or None for an empty one. Refuses what could mean two things."""
    if isinstance(cell, bool):
        raise Unreadable(_("Give a number, like %(example)s; this cell holds yes or no.") % {"example": example})
    if isinstance(cell, int | float):
        if not math.isfinite(cell):
            raise Unreadable(_("Give a number, like %(example)s.") % {"example": example})
        return float(cell)
    if not isinstance(cell, str):
        raise Unreadable(_("Give a number, like %(example)s; this cell holds a date.") % {"example": example})
    text = cell.strip()
    if text.lower() in BLANK:
        return None
    return _from_text(text, getattr(hints, "decimal_comma", None), unit, example)


def _from_text(text, decimal_comma, unit, example):
    bare = text.translate(SPACES).replace("−", "-")
    commas, points = bare.count(","), bare.count(".")
    try:
        if commas and points:  # both: the last one is the decimal sign, the other groups thousands
            if bare.rfind(",") > bare.rfind("."):
                return _finite(bare.replace(".", "").replace(",", "."), commas == 1)
            return _finite(bare.replace(",", ""), points == 1)
        if commas > 1:
            return _finite(bare.replace(",", ""), GROUPED.match(text) is not None)
        if points > 1:
            return _finite(bare.replace(".", ""), GROUPED.match(text) is not None)
        if commas and _grouped(bare, ",") and decimal_comma is not True:
            if decimal_comma is False:
                return _finite(bare.replace(",", ""), True)
            raise _could_be(bare, ",")
        if points and _grouped(bare, ".") and decimal_comma is True:
            raise _could_be(bare, ".")
        return _finite(bare.replace(",", "."), "_" not in bare)
    except Unreadable:
        raise
    except ValueError:
        raise Unreadable(_why(text, unit, example)) from None


def _grouped(bare, sign):
    """One sign with three digits behind it and at most three before: thousands or decimals, nobody can tell."""
    before, after = bare.lstrip("+-").split(sign)
    return len(after) == 3 and 1 <= len(before) <= 3 and after.isdigit() and before.isdigit() and before != "0"


def _could_be(bare, sign):
    return Unreadable(
        _("%(found)s could be %(one)s or %(other)s: write it without grouping and with a point.")
        % {"found": bare, "one": bare.replace(sign, "."), "other": bare.replace(sign, "")}
    )


def _finite(text, sound):
    number = float(text)
    if not sound or not math.isfinite(number):
        raise ValueError
    return number


def _why(text, unit, example):
    found = NUMBER_AND_WORD.match(text)
    if found:
        typed = unit_of(found[2])
        if typed and unit and factor(typed, unit) not in (None, 1.0):
            return _("Give %(unit)s as a number, like %(example)s; this is in %(typed)s.") % {
                "unit": spoken(unit), "example": example, "typed": spoken(typed)}  # fmt: skip
        if typed:
            return _("Give the number without its unit, like %(example)s.") % {"example": example}
    if unit:
        return _("Give %(unit)s as a number, like %(example)s.") % {"unit": spoken(unit), "example": example}
    return _("Give a number, like %(example)s.") % {"example": example}


def number(unit="", low=-1e12, high=1e12, example="12.5", above=False, mistaken=()):
    """A reader of figures from `low` to `high` (`above`: more than `low`).

    `mistaken` names units that people write by mistake; a figure out of range that would be right in one of them gets a
    sentence that says so.
    """

    def read(cell, hints):
        try:
            if hints.decimal_comma or cell.__class__ is bool:
                value = plain_number(cell, hints, unit, example)
            else:
                value = float(cell)
                if cell.__class__ is str and "_" in cell:
                    value = plain_number(cell, hints, unit, example)
        except (ValueError, TypeError):
            value = plain_number(cell, hints, unit, example)
        if value is None or (low <= value <= high and not (above and value == low)):
            return value
        raise Unreadable(_out_of_range(value))

    def _out_of_range(value):
        if not math.isfinite(value):
            return _why("", unit, example)
        for other in mistaken:
            scaled = value * factor(other, unit)
            if low <= scaled <= high and not (above and scaled == low):
                return _("%(value)g %(unit)s cannot be. In %(other)s it would be %(scaled)g %(unit)s: write that, or "
                         "say when matching the columns that this one is in %(other)s.") % {
                    "value": value, "unit": unit, "other": spoken(other), "scaled": float(f"{scaled:.6g}")}  # fmt: skip
        if above and low == 0 and value <= 0:
            return _("Above zero, please.")
        return _("Give a value from %(low)g to %(high)g %(unit)s.") % {"low": low, "high": high, "unit": unit}

    read.unit, read.example = unit, example
    return read


def whole(low=0, high=2_000_000_000, example="12"):
    """A reader of whole numbers."""
    read_number = number("", low, high, example)

    def read(cell, hints):
        value = read_number(cell, hints)
        if value is None:
            return None
        if value != int(value):
            raise Unreadable(_("Give a whole number, like %(example)s.") % {"example": example})
        return int(value)

    read.unit, read.example = "", example
    return read
