"""Quantities as the person likes to read them. What is kept is SI and UTC; only the page changes it.

Flow is kept in L/min, lengths in m, volumes in L. One foot is 0.3048 m exactly
(international foot, 1959).
"""

import datetime
import functools
import zoneinfo

from django.utils import formats, timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from fleet.web.markup import markup

FOOT_M = 0.3048
NONE = "–"
GAP = "\u00a0"  # between a figure and its unit no line breaks


def number(value, decimals=0):
    """With the language's decimal mark and a thin grouping of thousands; a dash where nothing is known."""
    if value is None or value == "" or value != value:
        return NONE
    rounded = round(float(value), decimals)
    marks = _marks(get_language())
    words = f"{abs(rounded):,.{decimals}f}".translate(marks)
    return f"−{words}" if rounded < 0 else words  # no "-0"


@functools.cache
def _marks(language):
    """Python's marks of thousands and decimals -> the language's. Asked once: a list writes hundreds of figures."""
    grouped = formats.get_format("NUMBER_GROUPING", language)
    thousands = formats.get_format("THOUSAND_SEPARATOR", language) if grouped == 3 else ""
    return {ord(","): thousands, ord("."): formats.get_format("DECIMAL_SEPARATOR", language)}


def significant(value, figures=3):
    """Decimals that leave about this many significant figures: 3.14, 31.4, 314."""
    size = abs(float(value))
    whole = len(str(int(size))) if size >= 1 else 0
    return max(0, figures - max(whole, 1))


def flow(value_l_min, person=None, decimals=None):
    if value_l_min is None or value_l_min != value_l_min:
        return NONE
    if getattr(person, "flow_unit", "l_min") == "m3_h":
        value = float(value_l_min) * 0.06
        return f"{number(value, 2 if decimals is None else decimals)}{GAP}m³/h"
    return f"{number(value_l_min, 1 if decimals is None else decimals)}{GAP}L/min"


def flow_m3_h(value_m3_h, person=None):
    """A flow that the register keeps in cubic metres an hour."""
    return NONE if value_m3_h is None else flow(value_m3_h / 0.06, person)


def specific_capacity(value_m3_h_m, person=None):
    """Flow for each metre of drawdown, in the person's own units of both."""
    if value_m3_h_m is None:
        return NONE
    length = "ft" if getattr(person, "length_unit", "m") == "ft" else "m"
    per = value_m3_h_m / 0.06 * (FOOT_M if length == "ft" else 1)
    return _("%(flow)s per %(length)s") % {"flow": flow(per, person), "length": length}


def metres(value_m, person=None, decimals=1):
    if value_m is None or value_m != value_m:
        return NONE
    if getattr(person, "length_unit", "m") == "ft":
        return f"{number(float(value_m) / FOOT_M, decimals)}{GAP}ft"
    return f"{number(value_m, decimals)}{GAP}m"


def exact(value):
    """A figure with just the decimals it has, three at most, and never as a power of ten."""
    if value is None or value != value:
        return NONE
    return number(value, len(f"{round(float(value), 3):.12g}".partition(".")[2]))


def in_unit(value, unit, person=None):
    """A recorded figure with its unit: metres and flows as the person likes them, all else as it was recorded."""
    if unit == "m":
        return f"{exact(value)}{GAP}m" if getattr(person, "length_unit", "m") != "ft" else metres(value, person, 2)
    if unit == "L/min":
        return flow(value, person, 2 if getattr(person, "flow_unit", "") == "m3_h" else significant(value))
    return f"{exact(value)}{GAP}{unit}" if unit else exact(value)


def litres(value_l, decimals=0):
    """Litres up to 9,999; cubic metres above, where litres are hard to read."""
    if value_l is None or value_l != value_l:
        return NONE
    if abs(float(value_l)) >= 10_000:
        cubic = float(value_l) / 1000
        return f"{number(cubic, significant(cubic))}{GAP}m³"
    return f"{number(value_l, decimals)}{GAP}L"


def litres_written(value_l):
    """Litres as they stand on a meter or a paper: every figure, for comparing."""
    return NONE if value_l is None or value_l != value_l else f"{number(value_l)}{GAP}L"


def percent(share, decimals=0):
    return NONE if share is None or share != share else f"{number(float(share) * 100, decimals)}{GAP}%"


def chance(share):
    """A probability in words: nothing that is worked out from readings is ever certain."""
    if share is None or share != share:
        return NONE
    if share > 0.99:
        return _with_gap(_("above 99 %"))
    return _with_gap(_("below 1 %")) if share < 0.01 else percent(share)


def _with_gap(words):
    """The figure stays with its sign, as where both are made here."""
    return words.replace(" %", f"{GAP}%")


def zone_of(place):
    """The zone of a site, or of a zone's name; UTC where none is known."""
    name = place if isinstance(place, str) else getattr(place, "zone", None)
    try:
        return zoneinfo.ZoneInfo(name) if name else zoneinfo.ZoneInfo("UTC")
    except (zoneinfo.ZoneInfoNotFoundError, ValueError):
        return zoneinfo.ZoneInfo("UTC")


def moment(at, place=None, with_time=True):
    """A moment in the place's own time, with the zone's short name."""
    local = timezone.localtime(at, zone_of(place))
    day = _day_words(local.date(), get_language())
    return f"{day}, {local:%H:%M} {local.tzname()}" if with_time else day


def when(at, place=None, with_time=True):
    """A day or a moment as markup that programs can read too. `place`: a site or a zone's name."""
    if at is None:
        return NONE
    if not isinstance(at, datetime.datetime):  # a day has no zone
        return _day(at, get_language())
    utc = at.astimezone(datetime.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    return markup('<time datetime="{}">{}</time>', utc, moment(at, place, with_time))


def _day(day, language):
    return markup('<time datetime="{}">{}</time>', day.isoformat(), _day_words(day, language))


@functools.lru_cache(maxsize=4096)
def _day_words(day, language):
    """Lists name the same days again and again."""
    return formats.date_format(day, "j M Y")


def drive(minutes):
    """A time on the road in words: 45 min, 3 h, 3 h 15 min."""
    if minutes is None:
        return NONE
    hours, rest = divmod(round(minutes), 60)
    if not hours:
        return _("%(n)d min") % {"n": rest}
    return _("%(h)d h %(n)d min") % {"h": hours, "n": rest} if rest else _("%(h)d h") % {"h": hours}


def age(at, now=None):
    """How long ago, in the largest fitting unit."""
    seconds = ((now or timezone.now()) - at).total_seconds()
    if seconds < 90:
        return _("just now")
    if seconds < 5400:
        return _("%(n)d min ago") % {"n": round(seconds / 60)}
    if seconds < 36 * 3600:
        return _("%(n)d h ago") % {"n": round(seconds / 3600)}
    return _("%(n)d days ago") % {"n": round(seconds / 86400)}
