"""What a month's range is made of, in words: the climate, the unit and its well about their records, the meter."""

from datetime import date

from django.utils import formats
from django.utils.translation import gettext as _

from fleet.web import quantities


def of_month(baseline, month):
    """{"month": its name, "usual", "low", "high": litres a day, "parts": [(words, litres either side)]} of a baseline
    and a month (1 to 12); None where it does not say. Each part is what that reason alone would reach; squares add."""
    parts = baseline.range_l_day if baseline else None
    if not parts or baseline.volume_l_day[month - 1] is None:
        return None
    words = {
        "climate": _("the climate: how much sun a month of that name brings"),
        "model": _("the unit, its array and its well about what is written of them"),
        "instrument": _("the meter that it is measured by"),
    }
    return {
        "month": formats.date_format(date(2001, month, 1), "F"),
        "usual": baseline.volume_l_day[month - 1],
        "low": baseline.low_l_day[month - 1],
        "high": baseline.high_l_day[month - 1],
        "parts": [(words[name], parts[name][month - 1]) for name in words],
    }


def of_day(steps):
    """The water of a day worked out step by step, in litres, its range and the parts of that in words."""
    value = {step.symbol: step.value for step in steps if step.stage in ("water", "range")}
    return {
        "volume": value["V"],
        "range_words": _("in four cases of five %(low)s – %(high)s")
        % {"low": quantities.litres(value["V10"]), "high": quantities.litres(value["V90"])},
        **{f"{name}_words": f"± {quantities.litres(value[sign])}"
           for name, sign in (("climate", "±c"), ("model", "±m"), ("instrument", "±i"))},
    }  # fmt: skip
