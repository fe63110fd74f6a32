"""A weather file that somebody hands in for a site, as the site's own twelve months and their kinds of day."""

import numpy as np
from django.utils.translation import gettext as _

from fleet.web.refusals import Refused
from sizing import climate
from sizing.checks import Refusal

LARGEST_MB = 25
FARTHEST_KM = 150  # from the file's place to the site: beyond it the sky is another's (common practice, no source)


def months_of_file(site, upload, kind):
    """The fields of `services.keep_climate` from an uploaded weather file; refused with what to do about it."""
    if upload.size > LARGEST_MB * 1_000_000:
        raise Refused("file_too_large", _("The file is larger than %(mb)d MB. A year of hours takes about two.")
                      % {"mb": LARGEST_MB}, "weather_file")  # fmt: skip
    try:
        read = climate.read_weather_file(upload.read(), kind, source=upload.name)
    except Refusal as refusal:
        raise Refused("weather_file", _("This file cannot be used: %(why)s.") % {"why": str(refusal).rstrip(".")},
                      "weather_file") from refusal  # fmt: skip
    away = _distance_km(site.latitude_deg, site.longitude_deg, read.latitude_deg, read.longitude_deg)
    if away > FARTHEST_KM:
        raise Refused(
            "file_of_elsewhere",
            _("The file is of a place %(km)d km away (%(lat).2f, %(lon).2f). Take one within %(most)d km.")
            % {"km": away, "lat": read.latitude_deg, "lon": read.longitude_deg, "most": FARTHEST_KM}, "weather_file",
        )  # fmt: skip
    known = np.isfinite(read.air_c).mean() > 0.5
    return {
        "irradiation_kwh_m2_day": np.round(read.climate.ghi_kwh_m2_day, 3).tolist(),
        "day_irradiation_kwh_m2": np.round(read.climate.day_ghi_kwh_m2_day, 3).tolist(),
        "air_c": np.round(read.climate.air_c, 1).tolist() if known else [],
        "source": _("weather file %(name)s, %(days)d days") % {"name": upload.name[:120], "days": len(read.date)},
    }


def _distance_km(lat_a, lon_a, lat_b, lon_b):
    a, b = np.radians([lat_a, lon_a]), np.radians([lat_b, lon_b])
    half = np.sin((b - a) / 2) ** 2
    return float(2 * 6371 * np.arcsin(np.sqrt(half[0] + np.cos(a[0]) * np.cos(b[0]) * half[1])))
