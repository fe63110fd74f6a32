"""What hides the sun at a site, drawn as a compass card with the zenith in its middle; and what it costs in light."""

from dataclasses import dataclass
from datetime import date

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.registry import hiding
from fleet.registry.engineering.choice import climate_at
from fleet.web.quantities import number, percent
from sizing import orient, sky, sun
from sizing.checks import Refusal

WIDE, RADIUS = 400, 160  # of the drawing's own measure; the middle lies at (200, 200)
HIGHEST_DEG = 23.45  # the declination at the solstices; zero at the equinoxes
STEP_DEG = 1.25  # of hour angle: five minutes
RINGS_DEG = (30, 60)


@dataclass(frozen=True)
class SunPath:
    """One day's way of the sun. `name`: of its style; `label`: the day in words; `way`: the drawing's line; from, to
    and hidden: sun time at which it first and last stands above the skyline, and the hours it is behind it."""

    name: str
    label: str
    way: str
    begins: str
    ends: str
    up_h: float
    hidden_h: float


def _point(bearing_deg, height_deg):
    """Where a direction stands on the card: north up, east on the right as on a compass, the zenith in the middle."""
    out = RADIUS * (90 - np.maximum(height_deg, 0)) / 90
    turn = np.radians(bearing_deg)
    return WIDE / 2 + out * np.sin(turn), WIDE / 2 - out * np.cos(turn)


def _line(x, y, close=False):
    return "M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(x, y)) + ("Z" if close else "")


def _sun(latitude_deg, declination_deg, hour_angle_deg):
    """Bearing and height of the sun, degrees."""
    cz = sun.cos_zenith(latitude_deg, declination_deg, hour_angle_deg)
    north = sun.cos_incidence(latitude_deg, declination_deg, hour_angle_deg, 90, 0)
    east = sun.cos_incidence(latitude_deg, declination_deg, hour_angle_deg, 90, 90)
    return np.degrees(np.arctan2(east, north)) % 360, np.degrees(np.arcsin(np.clip(cz, -1, 1)))


def _path(name, label, declination_deg, latitude_deg, ring):
    sunset = float(np.degrees(np.arccos(np.clip(
        -np.tan(np.radians(latitude_deg)) * np.tan(np.radians(declination_deg)), -1, 1
    ))))  # fmt: skip
    angle = np.linspace(-sunset, sunset, max(int(2 * sunset / STEP_DEG), 2))
    bearing, height = _sun(latitude_deg, declination_deg, angle)
    seen = sky.beam_open(ring, bearing, np.maximum(height, 1e-6)) > 0
    up = 2 * sunset / 15
    shown = 12 + angle[seen] / 15 if seen.any() else np.array([np.nan, np.nan])
    begins, ends = (hiding.hour_words(h) if h == h else "–" for h in (shown[0], shown[-1]))
    return SunPath(name, label, _line(*_point(bearing, height)), begins, ends, up, up * (1 - seen.mean()))


def _window(latitude_deg, start_h, end_h):
    """The part of the sky that the sun crosses between two hours of the year's days: between the solstices' paths."""
    hours = np.linspace(start_h, end_h, max(int((end_h - start_h) * 6), 2))
    tilts = np.linspace(-HIGHEST_DEG, HIGHEST_DEG, 12)
    around = (
        (np.full(hours.size, -HIGHEST_DEG), hours), (tilts, np.full(12, end_h)),
        (np.full(hours.size, HIGHEST_DEG), hours[::-1]), (tilts[::-1], np.full(12, start_h)),
    )  # fmt: skip
    declination, hour = (np.concatenate(part) for part in zip(*around))
    return _line(*_point(*_sun(latitude_deg, declination, 15 * (hour - 12))), close=True)


def _hours(latitude_deg):
    """Full hours along the lower of the two solstices' paths, written outside it."""
    lower = -HIGHEST_DEG if latitude_deg >= 0 else HIGHEST_DEG
    found = []
    for hour in range(6, 19, 2):
        bearing, height = _sun(latitude_deg, lower, 15.0 * (hour - 12))
        if height > 4:
            x, y = _point(bearing, height)
            a, b = _point(bearing, height - 8)
            found.append({"hour": hour, "x": f"{x:.1f}", "y": f"{y:.1f}", "at_x": f"{a:.1f}", "at_y": f"{b + 5:.1f}"})
    return found


def _ring(site):
    """The skyline as heights around the compass; of a bearing that an old row names twice the greater height."""
    return sky.ring(list({b % 360: (b, h) for b, h in sorted(site.skyline, key=lambda p: p[1])}.values()))


def picture(site):
    """Everything that the drawing of a site's skyline shows, in words as well; see registry/_skyline.html."""
    ring = _ring(site)
    days = [
        ("june", date_format(date(2001, 6, 21), "j F"), HIGHEST_DEG),
        ("equinox", _("equinoxes"), 0.0),
        ("december", date_format(date(2001, 12, 21), "j F"), -HIGHEST_DEG),
    ]
    paths = [_path(name, label, tilt, site.latitude_deg, ring) for name, label, tilt in days]
    bearings = np.append(sky.RING_BEARINGS_DEG, 360.0)
    hills = ""
    if (ring > 0).any():
        edge = _line(*_point(bearings, np.zeros(bearings.size)), close=True)
        hills = edge + _line(*_point(bearings, np.append(ring, ring[0])), close=True)
    windows = [
        {"way": _window(site.latitude_deg, start, end), "words": hiding.windows_words([(start, end, lost)])}
        for start, end, lost in site.shade_windows
    ]
    return {
        "paths": paths, "hills": hills, "windows": windows, "hours": _hours(site.latitude_deg),
        "rings": [{"r": f"{RADIUS * (90 - r) / 90:.1f}", "deg": r, "y": f"{200 - RADIUS * (90 - r) / 90 + 4:.1f}"}
                  for r in RINGS_DEG],
        "ticks": _ticks(), "description": _description(site, ring, paths),
    }  # fmt: skip


def _ticks():
    found = []
    for bearing in range(0, 360, 30):
        (x, y), (a, b) = (_point(bearing, height) for height in (0, -1))
        turn = np.radians(bearing)
        a, b = 200 + (RADIUS + 7) * np.sin(turn), 200 - (RADIUS + 7) * np.cos(turn)
        found.append({"x": f"{x:.1f}", "y": f"{y:.1f}", "a": f"{a:.1f}", "b": f"{b:.1f}"})
    return found


def _description(site, ring, paths):
    """The drawing for who does not see it."""
    said = [_("A compass card of the sky: north is up, east on the right, the zenith in the middle.")]
    if (ring > 0).any():
        top = int(np.argmax(ring))
        said.append(
            _("The skyline is highest at bearing %(bearing)s°, where it reaches %(height)s°.")
            % {"bearing": number(sky.RING_BEARINGS_DEG[top]), "height": number(ring[top])}
        )
    else:
        said.append(_("No skyline is known."))
    for path in paths:
        said.append(
            _("%(day)s: the sun stands above the skyline from %(begins)s to %(ends)s, sun time.")
            % {"day": path.label, "begins": path.begins, "ends": path.ends}
        )
    if site.shade_windows:
        said.append(_("Windows of shade: %(windows)s.") % {"windows": hiding.windows_words(site.shade_windows, ", ")})
    return " ".join(said)


def light_lost(site, tilt_deg=None, azimuth_deg=None):
    """Share of the light on a frame that skyline and windows take, by month (12,); None under an open sky or where the
    place's sun is not known. Without a frame: one that stands as usual at this place."""
    if not site.skyline and not site.shade_windows:
        return None
    if tilt_deg is None:
        usual = orient.facing(date(2025, 1, 1), site.latitude_deg, site.longitude_deg)
        tilt_deg, azimuth_deg = usual.tilt_deg, usual.bearing_deg
    try:
        climate = climate_at(site.latitude_deg, site.longitude_deg, site.altitude_m, site)
    except Refusal:
        return None
    days = np.asarray(climate.day_ghi_kwh_m2_day).reshape(12, -1)
    if not np.isfinite(days).all():
        return None
    frame = site.latitude_deg, sun.AVERAGE_DAYS[:, None], days, tilt_deg, azimuth_deg
    ring = _ring(site)
    left = sky.open_hours(ring, site.latitude_deg, sun.AVERAGE_DAYS) * sky.shade_windows(site.shade_windows)
    some = sky.caught_hours(*frame, sky_share=sky.sky_share(ring), beam_open=left[:, None, :])
    return 1 - some.sum(axis=(1, 2)) / sky.caught_hours(*frame).sum(axis=(1, 2))


def shown(site, frame=None):
    """The card of a site's page: the drawing, and the light lost in the months of least and most."""
    found = picture(site)
    lost = light_lost(site, *(frame or (None, None)))
    if lost is not None:
        least, most = int(np.argmin(lost)), int(np.argmax(lost))
        found["lost"] = _("Of the light on the modules %(least)s is lost in %(a)s and %(most)s in %(b)s.") % {
            "least": percent(lost[least], 1), "a": date_format(date(2001, least + 1, 1), "F"),
            "most": percent(lost[most], 1), "b": date_format(date(2001, most + 1, 1), "F"),
        }  # fmt: skip
    return found
