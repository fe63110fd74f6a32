"""What hides the sun at a site, as people write it down: a skyline as pairs of bearing and height, windows of shade.

    skyline          95 12; 110 20; 130 0        or a pair on a line, 95:12
    windows of shade 7:30-9:30 80%               hours of sun time (noon is when the sun stands highest), share lost

Reading finds every entry that is wrong, not only the first, and says of each how to mend it. Pages, tables and the API
keep to the same rules.
"""

import re

from django.utils.translation import gettext as _

MOST_PAIRS, MOST_WINDOWS = 360, 24
BETWEEN_PAIRS = re.compile(r"[\n;]+|,\s+|,(?=[\s\d.]+[:/])")
FIGURE = r"[+-]?\d+(?:[.,]\d+)?"
PAIR = re.compile(rf"({FIGURE})\s*°?(?:\s*[:/]\s*|\s+)({FIGURE})\s*°?")
HOUR = r"\d{1,3}(?:[:.,]\d+)?"
WINDOW = re.compile(rf"({HOUR})\s*h?\s*(?:-|–|\s)\s*({HOUR})\s*h?\s*[:,]?\s+({FIGURE})\s*%?")


def read_skyline(words):
    """([[bearing, height], ...], [sentence, ...]) of a text; with a fault the pairs are not complete."""
    return _read(words, BETWEEN_PAIRS, _pair, _("Write bearing and height in degrees, like 95 12."), faults_of_skyline)


def read_windows(words):
    """([[from hour, to hour, share lost], ...], [sentence, ...]) of a text."""
    example = _("Write from, to and the share of the light lost, like 7:30-9:30 80%.")
    return _read(words, re.compile(r"[\n;]+"), _window, example, faults_of_windows)


def _read(words, between, entry, example, check):
    found, faults, places = [], [], []
    for place, piece in enumerate((p.strip() for p in between.split(words or "")), 1):
        if not piece:
            continue
        figures = entry(piece)
        if figures is None:
            faults.append(f"{place}: “{piece[:40]}”. {example}")
            continue
        found.append(figures)
        places.append(place)
    return found, faults + check(found, places)


def _figure(word):
    return float(word.replace(",", "."))


def _pair(piece):
    m = PAIR.fullmatch(piece)
    return m and [_figure(m[1]), _figure(m[2])]


def _window(piece):
    m = WINDOW.fullmatch(piece)
    if not m:
        return None
    start, end = _hour(m[1]), _hour(m[2])
    return None if start is None or end is None else [start, end, round(_figure(m[3]) / 100, 6)]


def _hour(word):
    """7:30 and 7.5 are the same hour."""
    if ":" not in word:
        return _figure(word)
    hours, minutes = word.split(":")
    return round(int(hours) + int(minutes) / 60, 6) if len(minutes) == 2 and int(minutes) < 60 else None


def faults_of_skyline(pairs, places=None):
    """A sentence for each pair that cannot be."""
    faults, seen = [], {}
    for place, (bearing, height) in zip(places or range(1, len(pairs) + 1), pairs):
        shown = f"{place}: {bearing:g} {height:g}."
        if not 0 <= bearing <= 360:
            faults.append(f"{shown} " + _("A bearing runs from 0 (north) clockwise to 360."))
        elif bearing % 360 in seen:
            faults.append(f"{shown} " + _("Bearing %(deg)g stands there twice; keep the greater height.")
                          % {"deg": bearing})  # fmt: skip
        seen[bearing % 360] = place
        if not 0 <= height <= 90:
            faults.append(f"{shown} " + _("A height is the angle above level ground, 0 to 90."))
    if len(pairs) > MOST_PAIRS:
        faults.append(_("At most %(most)d points of the skyline are kept: one a degree.") % {"most": MOST_PAIRS})
    return faults


def faults_of_windows(windows, places=None):
    """A sentence for each window that cannot be."""
    faults = []
    for place, (start, end, lost) in zip(places or range(1, len(windows) + 1), windows):
        shown = f"{place}: {hour_words(start)}-{hour_words(end)} {100 * lost:g}%."
        if not (0 <= start <= 24 and 0 <= end <= 24):
            faults.append(f"{shown} " + _("Hours run from 0 to 24."))
        elif start >= end:
            faults.append(f"{shown} " + _("It ends before it begins."))
        if not 0 < lost <= 1:
            faults.append(f"{shown} " + _("The light lost is a share, more than 0 and up to 100 %."))
    if len(windows) > MOST_WINDOWS:
        faults.append(_("At most %(most)d windows of shade are kept.") % {"most": MOST_WINDOWS})
    return faults


def hour_words(hour):
    """7.5 as 7:30; what is no hour of a day as it is."""
    if not 0 <= hour <= 24:
        return f"{hour:g}"
    minutes = round(60 * hour)
    return f"{minutes // 60}:{minutes % 60:02d}"


def skyline_words(pairs, between="; "):
    """The way it is read back: 95 12; 110 20. No colon: a spreadsheet would take 95:12 for a time."""
    return between.join(f"{bearing:g} {height:g}" for bearing, height in pairs)


def windows_words(windows, between="; "):
    """The way it is read back: 7:30-9:30 80%."""
    return between.join(f"{hour_words(start)}-{hour_words(end)} {100 * lost:g}%" for start, end, lost in windows)
