"""Readers of everything that is not a figure: words, choices, yes and no, days and times.

A reader is a function (cell, hints) -> value; it raises Unreadable with a sentence that says how to mend the cell.
"""

import re
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.intake.errors import Unreadable

YES = {"yes", "y", "true", "1", "1.0", "x", "oui", "ndiyo", "ndio", "ja", "si", "sí"}
NO = {"no", "n", "false", "0", "0.0", "non", "hapana", "nein"}
CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
MONTHS = {name: number for number, names in enumerate((
    "jan january", "feb february", "mar march", "apr april", "may may", "jun june", "jul july", "aug august",
    "sep september sept", "oct october", "nov november", "dec december"), 1) for name in names.split()}  # fmt: skip
MONTH_TITLES = [
    gettext_lazy("January"), gettext_lazy("February"), gettext_lazy("March"), gettext_lazy("April"),
    gettext_lazy("May"), gettext_lazy("June"), gettext_lazy("July"), gettext_lazy("August"),
    gettext_lazy("September"), gettext_lazy("October"), gettext_lazy("November"), gettext_lazy("December"),
]  # fmt: skip
ISO_DAY = re.compile(r"^(\d{4})-(\d{1,2})-(\d{1,2})$")
YEAR_FIRST = re.compile(r"^(\d{4})[/.](\d{1,2})[/.](\d{1,2})$")
YEAR_LAST = re.compile(r"^(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{4})$")
SHORT_YEAR = re.compile(r"^(\d{1,2})[-/. ](\d{1,2})[-/. ](\d{2})$")
DAY_MONTH_NAME = re.compile(r"^(\d{1,2})(?:st|nd|rd|th)?[-/. ]+([a-z]{3,9})\.?[-/., ]+(\d{4})$")
MONTH_NAME_DAY = re.compile(r"^([a-z]{3,9})\.?[-/. ]+(\d{1,2})(?:st|nd|rd|th)?[-/., ]+(\d{4})$")
SPREADSHEET_ZERO = date(1899, 12, 30)  # day 0 of workbooks' day numbers after their false 29 February 1900


def _as_text(cell):
    if isinstance(cell, float) and cell == int(cell):
        return str(int(cell))  # workbooks keep a serial of digits as a float
    if isinstance(cell, datetime | date):
        return cell.isoformat()
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return str(cell)


def text(most=200):
    """A reader of words up to `most` characters. Nothing in them is ever run or worked out."""

    def read(cell, hints):
        found = cell.strip() if cell.__class__ is str else _as_text(cell).strip()
        if not found:
            return None
        if len(found) > most:
            raise Unreadable(
                _("Too long: %(long)s characters, at most %(most)s fit.") % {"long": len(found), "most": most}
            )
        if not found.isprintable() and CONTROL.search(found):
            raise Unreadable(_("Holds characters that cannot be shown. Type it again."))
        # Our own exports put ' before words that a spreadsheet would take for a formula; coming back it is taken off.
        if found[0] == "'" and found[1:2] in {"=", "+", "-", "@"}:
            return found[1:]
        return found

    read.unit, read.example = "", ""
    return read


def yes_no(cell, hints):
    if isinstance(cell, bool):
        return cell
    found = _as_text(cell).strip().lower()
    if found in YES:
        return True
    if found in NO:
        return False
    if found in {"", "-", "–", "?"}:
        return None
    raise Unreadable(_("Write yes or no."))


yes_no.unit, yes_no.example = "", "yes"


def choice(values, others=None):
    """A reader of one of `values` ({kept value: title}); `others` maps further words people write to kept values."""
    known = {}
    for value, title in values.items():
        known[value.lower()] = value
        known[str(title).lower()] = value
    known |= {word.lower(): value for word, value in (others or {}).items()}

    def read(cell, hints):
        found = " ".join(_as_text(cell).split()).lower()
        if not found:
            return None
        try:
            return known[found]
        except KeyError:
            titles = ", ".join(values)
            raise Unreadable(_("Write one of: %(choices)s.") % {"choices": titles}) from None

    read.unit, read.example, read.choices = "", next(iter(values)), values
    return read


def _made(year, month, day):
    try:
        found = date(year, month, day)
    except ValueError:
        raise Unreadable(_("There is no such day. Write it as 2025-04-03.")) from None
    if not 1950 <= year <= 2100:
        raise Unreadable(_("The year cannot be right. Write the day as 2025-04-03."))
    return found


def a_day(cell, hints):
    """A day. 3/4/2025 is refused unless the user said in which order this file writes days and months."""
    if isinstance(cell, datetime):
        return _made(cell.year, cell.month, cell.day)
    if isinstance(cell, date):
        return _made(cell.year, cell.month, cell.day)
    found = _as_text(cell).strip().lower()
    if not found or found in {"-", "–"}:
        return None
    if m := ISO_DAY.match(found) or YEAR_FIRST.match(found):
        return _made(int(m[1]), int(m[2]), int(m[3]))
    if len(found) > 10 and found[10] in "t " and ISO_DAY.match(found[:10]):
        return a_day(found[:10], hints)
    if m := YEAR_LAST.match(found):
        return _ordered(int(m[1]), int(m[2]), int(m[3]), getattr(hints, "date_order", None))
    if m := DAY_MONTH_NAME.match(found):
        if m[2] in MONTHS:
            return _made(int(m[3]), MONTHS[m[2]], int(m[1]))
    elif (m := MONTH_NAME_DAY.match(found)) and m[1] in MONTHS:
        return _made(int(m[3]), MONTHS[m[1]], int(m[2]))
    if SHORT_YEAR.match(found):
        raise Unreadable(_("Write the year with four digits, as 2025-04-03."))
    if found.isdigit() and 20000 <= int(found) <= 73000:
        meant = SPREADSHEET_ZERO + timedelta(days=int(found))
        raise Unreadable(
            _("This is a spreadsheet's day number (it would be %(day)s). Format the column as a date.") % {"day": meant}
        )
    raise Unreadable(_("Write the day as 2025-04-03."))


a_day.unit, a_day.example, a_day.days = "", "2025-04-03", True


def _ordered(first, second, year, order):
    if order == "dmy":
        return _made(year, second, first)
    if order == "mdy":
        return _made(year, first, second)
    if first > 12 or first == second:
        return _made(year, second, first)
    if second > 12:
        return _made(year, first, second)
    raise Unreadable(
        _("Could be %(d1)s %(m1)s or %(d2)s %(m2)s: write %(iso)s, or say when matching the columns which comes first.")
        % {
            "d1": first, "m1": MONTH_TITLES[second - 1], "d2": second, "m2": MONTH_TITLES[first - 1],
            "iso": f"{year}-{second:02}-{first:02}",
        }  # fmt: skip
    )


WITH_HOUR = re.compile(r"^\s*\d{4}-\d{2}-\d{2}[tT ]\s*\d")
CLOCK = re.compile(r"[t ,]+(\d{1,2}):(\d{2})(?::(\d{2})(?:\.\d+)?)?\s*(am|pm)?\s*(z|utc|[+-]\d{2}:?\d{2})?$")


def a_moment(cell, hints):
    """A time: with its zone, then aware and in UTC; without, then naive, and `in_zone` sets it in the site's zone."""
    if isinstance(cell, datetime):
        return cell.astimezone(UTC) if cell.tzinfo else cell
    if isinstance(cell, date):
        raise Unreadable(_("Give the hour as well, as 2025-04-03 14:30."))
    found = _as_text(cell).strip()
    if not found:
        return None
    try:  # the common case, fast
        moment = datetime.fromisoformat(found)
    except ValueError:
        moment = None
    if moment is not None and len(found) > 10:
        _made(moment.year, moment.month, moment.day)
        return moment.astimezone(UTC) if moment.tzinfo else moment
    m = CLOCK.search(found.lower())
    if m is None:
        a_day(found, hints)  # refuses what is no day either
        raise Unreadable(_("Give the hour as well, as 2025-04-03 14:30."))
    day = a_day(found[: m.start()], hints)
    if day is None:
        raise Unreadable(_("Write the time as 2025-04-03 14:30."))
    hour = int(m[1])
    if m[4]:
        if not 1 <= hour <= 12:
            raise Unreadable(_("There is no such hour. Write the time as 2025-04-03 14:30."))
        hour = hour % 12 + (12 if m[4] == "pm" else 0)
    try:
        moment = datetime.combine(day, clock(hour, int(m[2]), int(m[3] or 0)))
    except ValueError:
        raise Unreadable(_("There is no such hour. Write the time as 2025-04-03 14:30.")) from None
    if m[5]:
        offset = "+00:00" if m[5] in {"z", "utc"} else m[5]
        return datetime.fromisoformat(f"{moment.isoformat()}{offset}").astimezone(UTC)
    return moment


a_moment.unit, a_moment.example, a_moment.days = "", "2025-04-03 14:30", True


def a_moment_or_day(cell, hints):
    """A time; or a day alone, where nobody wrote the hour down. An hour that cannot be is refused, not left out."""
    if isinstance(cell, datetime) or (cell.__class__ is str and (":" in cell or WITH_HOUR.match(cell))):
        return a_moment(cell, hints)
    return a_day(cell, hints)


a_moment_or_day.unit, a_moment_or_day.example, a_moment_or_day.days = "", "2025-04-03 14:30", True


def in_zone(moment, zone):
    """A naive time set in the site's zone, in UTC. Refuses hours that summer time skips or has twice."""
    if moment.tzinfo is not None:
        return moment
    place = ZoneInfo(zone)
    early, late = moment.replace(tzinfo=place), moment.replace(tzinfo=place, fold=1)
    if early.utcoffset() != late.utcoffset():
        if early.astimezone(UTC).astimezone(place).replace(tzinfo=None) != moment:
            raise Unreadable(_("The clocks went forward over that hour at this site. Give the time with its zone."))
        raise Unreadable(
            _("That hour came twice when the clocks went back at this site. Give it with its zone, like 01:30+02:00.")
        )
    return early.astimezone(UTC)

