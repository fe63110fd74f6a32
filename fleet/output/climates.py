"""The sun and air of each site: its own twelve values where somebody entered them, else the coarse default by place."""

import numpy as np

from fleet.registry.models import MonthlyClimate
from sizing import climate
from sizing.checks import Refusal


def climates(rows):
    """(Climate of all rows of a FleetRows, {row: why there is none}, source of each row in words)."""
    fleet = rows.fleet
    place = fleet.latitude_deg, fleet.longitude_deg
    usual = climate.default_climate(*place, altitude_m=fleet.altitude_m)
    parts = {
        name: np.array(getattr(usual, name), dtype=float)
        for name in ("ghi_kwh_m2_day", "day_ghi_kwh_m2_day", "air_c", "air_band_k", "band")
    }
    count = len(rows)
    for name, shape in (("air_band_k", (count,)), ("band", (count,))):
        parts[name] = np.array(np.broadcast_to(parts[name], shape))
    sources = [f"{usual.source}"] * count
    reasons = {}
    own = np.isfinite(rows.own_ghi).all(axis=1)
    sites = rows.facts["site_id"]
    kept = MonthlyClimate.objects.filter(site_id__in=sites[own].tolist())
    named = {pk: rest for pk, *rest in kept.values_list("site_id", "source", "day_irradiation_kwh_m2")}
    for row in np.flatnonzero(own):
        air = rows.own_air[row] if np.isfinite(rows.own_air[row]).all() else None
        source, days = named.get(int(sites[row]), ("", None))
        try:
            one = climate.own_climate(
                fleet.latitude_deg[row], fleet.longitude_deg[row], rows.own_ghi[row], air,
                altitude_m=fleet.altitude_m[row], source=source, day_ghi_kwh_m2_day=days or None,
            )  # fmt: skip
        except Refusal as refusal:
            reasons[int(row)] = f"The site's own sun: {refusal}"
            continue
        for name in parts:
            parts[name][row] = getattr(one, name)
        sources[row] = one.source
    missing = ~np.isfinite(parts["day_ghi_kwh_m2_day"]).all(axis=(1, 2))
    for row in np.flatnonzero(missing):
        reasons.setdefault(
            int(row),
            "The default climate does not know this place. Enter the site's own twelve monthly values of the sun.",
        )
    return usual._replace(**parts), reasons, sources
