"""Rows of the registry as the fleet record of the engineering package, for any number of installations at once.

A handful of queries whatever the number; arrays are filled by column. An installation of which nothing can be computed
is left out of the fleet and named in `trouble` with the reason.
"""

import hashlib
from dataclasses import dataclass

import numpy as np

from fleet.readings import staging
from fleet.registry.models import PumpPoint, PumpType, UnitPoint
from sizing import chain, sky
from sizing.chain.fleet import COLUMNS, LIMITS, SHADES
from sizing.checks import Refusal
from sizing.pump import PumpCurve

METHOD = "4"  # raise it when the calculation changes: every baseline is then computed anew
YEARS_OF_LEVELS = 3
MONTH_DAYS = np.array([15, 46, 74, 105, 135, 166, 196, 227, 258, 288, 319, 349])

# Field of the fleet record -> where it stands, over i(nstallation), w(ell), s(ite), t(ank), u(nit), p(ump type),
# m(odule type), c(able), e (pipe).
PLAIN = {
    "latitude_deg": "s.latitude_deg",
    "longitude_deg": "s.longitude_deg",
    "altitude_m": "s.altitude_m",
    "tilt_deg": "i.tilt_deg",
    "azimuth_deg": "i.azimuth_deg",
    "cells": "m.cells",
    "p_stc_w": "m.p_stc_w",
    "v_mp_v": "m.v_mp_v",
    "i_mp_a": "m.i_mp_a",
    "v_oc_v": "m.v_oc_v",
    "i_sc_a": "m.i_sc_a",
    "alpha_isc_pct_k": "m.alpha_isc_pct_k",
    "beta_voc_pct_k": "m.beta_voc_pct_k",
    "gamma_p_pct_k": "m.gamma_p_pct_k",
    "noct_c": "m.noct_c",
    "modules_in_series": "i.modules_in_series",
    "strings": "i.strings",
    "cable_length_m": "i.cable_length_m",
    "cable_area_mm2": "c.area_mm2",
    "conductor_class": "c.conductor_class",
    "controller_efficiency": "p.controller_efficiency",
    "start_power_w": "p.start_power_w",
    "coupling": "CASE p.coupling WHEN 'direct' THEN 0 ELSE 1 END",
    "max_power_w": "p.max_power_w",
    "max_voltage_v": "coalesce(i.controller_max_voltage_v, p.max_voltage_v)",
    "setting_depth_m": "i.setting_depth_m",
    "tank_rise_m": "t.rise_m",
    "pipe_length_m": "coalesce(i.pipe_length_m, i.setting_depth_m) + coalesce(t.pipe_run_m, 0)",
    "pipe_inside_mm": "e.outside_mm - 2 * e.wall_mm",
    "fittings_k": "t.fittings_k",
    "tank_capacity_l": "t.capacity_m3 * 1000",
    # A step test's coefficients (days, m²) and a specific capacity, both turned into metres per L/min.
    "drawdown_b_m_per_l_min": "CASE WHEN w.drawdown_law = 'step' THEN w.drawdown_b_d_m2 * 1.44 "
    "ELSE 0.06 / w.specific_capacity_m3_h_m END",
    "drawdown_c": "CASE WHEN w.drawdown_law = 'step' THEN w.drawdown_c_d2_m5 * 1.44 * 1.44 ELSE 0 END",
    "float_switch": "coalesce(t.float_switch, false)::int",
    "dry_run_probe": "i.dry_run_probe::int",
    # At the middle of the year asked about: a baseline is not computed anew each day for a day's age.
    "age_y": "greatest(0, (make_date(%s, 7, 1) - coalesce(i.commissioned_on, lower(i.period)::date)) / 365.25)",
}
FACTS = {
    "id": ("bigint", "i.id"),
    "organisation_id": ("bigint", "i.organisation_id"),
    "well_id": ("bigint", "i.well_id"),
    "unit_id": ("bigint", "i.unit_id"),
    "site_id": ("bigint", "s.id"),
    "pump_type_id": ("bigint", "u.pump_type_id"),
    "people_served": ("int", "s.people_served"),
    "datum_above_ground_m": ("float8", "w.datum_above_ground_m"),
    "meter_rollover_l": ("float8", "i.meter_rollover_l"),
    "started": ("date", "(lower(i.period) AT TIME ZONE s.zone)::date"),
    "commissioned": ("date", "coalesce(i.commissioned_on, (lower(i.period) AT TIME ZONE s.zone)::date)"),
    "level": ("smallint", "CASE i.instrument_level WHEN 'meter' THEN 0 WHEN 'daily' THEN 1 ELSE 2 END"),
}
SOURCE = """
FROM registry_installation i JOIN registry_well w ON w.id = i.well_id JOIN registry_site s ON s.id = w.site_id
JOIN registry_unit u ON u.id = i.unit_id JOIN registry_pumptype p ON p.id = u.pump_type_id
LEFT JOIN registry_tank t ON t.well_id = w.id LEFT JOIN registry_moduletype m ON m.id = i.module_type_id
LEFT JOIN registry_cable c ON c.id = i.cable_id LEFT JOIN registry_pipe e ON e.id = i.pipe_id
LEFT JOIN registry_monthlyclimate k ON k.site_id = s.id
WHERE i.id = ANY(%s)
"""
KINDS = [kind for kind, _label in PumpType.Kind.choices]


@dataclass
class FleetRows:
    """The fleet and what the rows say beyond it. All arrays go with `ids` and the fleet's rows.

    trouble: {id: why it is left out}. own_ghi, own_air (n, 12): the site's own sun (kWh/m² a day) and air, NaN where
    it has none. assumed: {id: names of the values nobody wrote down}. facts: arrays by name of `FACTS`.
    """

    ids: np.ndarray
    fleet: chain.Fleet | None
    facts: dict
    zones: list
    pump_kinds: np.ndarray
    own_ghi: np.ndarray
    own_air: np.ndarray
    trouble: dict
    assumed: dict

    def __len__(self):
        return len(self.ids)

    def hashes(self, *more):
        """A hash of everything the calculation of each installation rests on. `more`: arrays (n, …) besides."""
        columns = [np.asarray(getattr(self.fleet, f)).reshape(len(self), -1) for f in HASHED]
        columns += [np.asarray(column, dtype=float).reshape(len(self), -1) for column in more]
        numbers = np.round(np.concatenate(columns, axis=1).astype(float), 9)
        curves = [_curve_bytes(pump) for pump in self.fleet.pumps]
        return [
            hashlib.sha256(METHOD.encode() + row.tobytes() + curves[pump] + shade).hexdigest()
            for row, pump, shade in zip(numbers, self.fleet.pump_index, self._shade_bytes())
        ]

    def _shade_bytes(self):
        """What hides the sun of each installation; nothing under an open sky, whatever stands around the others."""
        found = [b""] * len(self)
        for row in np.flatnonzero(self.fleet.shaded):
            for name, clear in SHADES.items():
                values = getattr(self.fleet, name)
                if values is not None and (values[row] != clear).any():
                    found[row] += name.encode() + np.round(values[row], 9).tobytes()
        return found


HASHED = sorted(name for name in COLUMNS if name != "pump_index")


def _curve_bytes(pump):
    return b"".join(np.ascontiguousarray(c).tobytes() for c in (pump.power_c, pump.voltage_c, pump.current_c))


def read_fleet(ids, year):
    """The installations of these ids as a fleet (FleetRows), in order of id, as old as they are in that year."""
    ids = [int(i) for i in ids]
    twelve = {f"need_{m}": ("float8", f"(s.need_m3_day ->> {m})::float8 * 1000") for m in range(12)}
    twelve |= {f"ghi_{m}": ("float8", f"(k.irradiation_kwh_m2_day ->> {m})::float8") for m in range(12)}
    twelve |= {f"air_{m}": ("float8", f"(k.air_c ->> {m})::float8") for m in range(12)}
    kind = "CASE p.kind " + " ".join(f"WHEN '{k}' THEN {n}" for n, k in enumerate(KINDS)) + " END"
    wanted = {name: ("float8", expression) for name, expression in PLAIN.items()}
    wanted |= FACTS | twelve | {"kind": ("smallint", kind)}
    got = staging.fetch(wanted, SOURCE, [int(year), ids], order="i.id")
    count = len(got["id"])
    raw = {name: got[name] for name in PLAIN}
    raw["need_l_day"] = np.stack([got[f"need_{m}"] for m in range(12)], axis=1).reshape(count, 12)
    raw["static_level_m"] = _levels_by_month(got, ids)
    raw["flow_scale"], raw["pump_index"], pumps, reasons = _own_scale(got, _curves(got))
    used = _fill_defaults(raw)
    for place, reason in _beyond_limits(raw, pumps).items():
        reasons.setdefault(place, reason)
    good = np.array([place for place in range(count) if place not in reasons], dtype=np.int64)
    fleet = _as_fleet(raw, good, pumps) if len(good) else None
    if fleet is not None:
        fleet = fleet.with_(**_shades(got["site_id"][good]))
    zones = _zones(got["site_id"])
    return FleetRows(
        ids=got["id"][good],
        fleet=fleet,
        facts={name: got[name][good] for name in FACTS},
        zones=[zones[int(s)] for s in got["site_id"][good]],
        pump_kinds=np.array(KINDS, dtype=object)[got["kind"][good]],
        own_ghi=np.stack([got[f"ghi_{m}"] for m in range(12)], axis=1).reshape(count, 12)[good],
        own_air=np.stack([got[f"air_{m}"] for m in range(12)], axis=1).reshape(count, 12)[good],
        trouble={int(got["id"][place]): reason for place, reason in reasons.items()},
        assumed={int(got["id"][place]): tuple(n for n, rows in used.items() if rows[place]) for place in good},
    )


def _zones(sites):
    from fleet.registry.models import Site

    return dict(Site.objects.filter(pk__in=np.unique(sites).tolist()).values_list("pk", "zone"))


def _shades(sites):
    """What hides the sun at these sites, as the fleet's columns; none where no site has any."""
    from fleet.registry.models import Site

    rows = Site.objects.filter(pk__in=np.unique(sites).tolist()).exclude(skyline=[], shade_windows=[])
    rings, windows = {}, {}
    for pk, pairs, shade in rows.values_list("pk", "skyline", "shade_windows"):
        if pairs:
            highest = {}
            for bearing, height in pairs:  # rows of before may name a bearing twice
                highest[bearing % 360] = max(height, highest.get(bearing % 360, 0))
            rings[pk] = sky.ring(list(highest.items()))
        if shade:
            windows[pk] = sky.shade_windows(shade)
    found = {}
    if rings:
        open_all_round = np.zeros(sky.RING_BEARINGS_DEG.size)
        found["skyline_deg"] = np.stack([rings.get(int(site), open_all_round) for site in sites])
    if windows:
        found["shade_left"] = np.stack([windows.get(int(site), np.ones(24)) for site in sites])
    return found


def _levels_by_month(got, ids):
    """Static level by month (n, 12): levels of the last years by month of measuring, bridged around the year.

    Where the well has none, those of the spot tests taken there.
    """
    levels = np.full((len(got["id"]), 12), np.nan)
    rows = staging.fetch(
        {"well_id": ("bigint", "x.well_id"), "day": ("date", "x.day"), "level": ("float8", "x.level_m")},
        """FROM (
             SELECT l.well_id, l.measured_on AS day, l.level_m FROM registry_staticlevel l WHERE l.well_id = ANY(%s)
             UNION ALL
             SELECT i.well_id, q.at::date, q.static_level_m FROM readings_spottest q
             JOIN registry_installation i ON i.id = q.installation_id
             WHERE i.well_id = ANY(%s) AND q.static_level_m IS NOT NULL AND q.standing IN (0, 2)
             AND NOT EXISTS (SELECT 1 FROM registry_staticlevel l WHERE l.well_id = i.well_id)
           ) x""",
        [np.unique(got["well_id"]).tolist()] * 2,
        order="x.well_id, x.day",
    )
    if not len(rows["well_id"]):
        return levels
    wells, group = np.unique(rows["well_id"], return_inverse=True)
    newest = np.full(len(wells), np.datetime64("1900-01-01"))
    np.maximum.at(newest, group, rows["day"])
    fresh = rows["day"] > newest[group] - np.timedelta64(365 * YEARS_OF_LEVELS, "D")
    month = rows["day"].astype("datetime64[M]").astype(int) % 12
    total, count = np.zeros((len(wells), 12)), np.zeros((len(wells), 12))
    np.add.at(total, (group[fresh], month[fresh]), rows["level"][fresh])
    np.add.at(count, (group[fresh], month[fresh]), 1)
    with np.errstate(invalid="ignore"):
        mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    known = count > 0
    once = known.sum(axis=1) == 1
    mean[once] = np.nansum(mean[once], axis=1)[:, None]
    for well in np.flatnonzero(~once & ~known.all(axis=1)):
        there = known[well]
        mean[well] = np.interp(MONTH_DAYS, MONTH_DAYS[there], mean[well][there], period=365)
    place = np.searchsorted(wells, got["well_id"])
    found = (place < len(wells)) & (wells[np.minimum(place, len(wells) - 1)] == got["well_id"])
    levels[found] = mean[place[found]]
    return np.where(levels < 0, 0, levels)  # an artesian well's water stands at the datum, for the pump


def _curves(got):
    """{pump type id: PumpCurve, or the sentence that says why there is none}."""
    types = np.unique(got["pump_type_id"]).tolist()
    points = {}
    for row in PumpPoint.objects.filter(pump_type_id__in=types).values_list(
        "pump_type_id", "head_m", "power_w", "flow_l_min", "voltage_v", "current_a"
    ):
        points.setdefault(row[0], []).append(row[1:])
    found = {}
    for pk, kind, name in PumpType.objects.filter(pk__in=types).values_list("pk", "kind", "name"):
        columns = np.array(sorted(points.get(pk, []), key=lambda p: p[:2]), dtype=float).reshape(-1, 5)
        found[pk] = curve_of(kind, name, columns)
    return found


_fitted = {}


def curve_of(kind, name, columns):
    """The curve fitted to a type's points (m, 5): head, power, flow, volts, amps; or why there is none. Fitted once."""
    key = (kind, columns.tobytes())
    if key not in _fitted:
        if len(_fitted) > 2000:
            _fitted.clear()
        try:
            _fitted[key] = PumpCurve(kind, *columns.T, name=name)
        except Refusal as refusal:
            _fitted[key] = f"Pump type {name}: {refusal}"
    return _fitted[key]


def _own_scale(got, curves):
    """Each unit's own test points against its type's curve.

    Returns flow_scale (n,), each installation's place in the curves (n,), the curves, {row: why there is none}.
    """
    sound = {pk: curve for pk, curve in curves.items() if not isinstance(curve, str)}
    place = {pk: n for n, pk in enumerate(sound)}
    types = got["pump_type_id"].tolist()
    index = np.array([place.get(pk, 0) for pk in types], dtype=np.int64)
    scale = np.ones(len(types))
    reasons = {row: curves[pk] for row, pk in enumerate(types) if pk not in sound}
    tests = {}
    for unit, *point in UnitPoint.objects.filter(unit_id__in=np.unique(got["unit_id"]).tolist()).values_list(
        "unit_id", "head_m", "power_w", "flow_l_min"
    ):
        tests.setdefault(unit, []).append(point)
    for row, unit in enumerate(got["unit_id"].tolist()):
        if unit in tests and row not in reasons:
            try:
                scale[row] = sound[types[row]].scale_of_test(*np.array(tests[unit], dtype=float).T)
            except Refusal as refusal:
                reasons[row] = f"The unit's own test: {refusal}"
    return scale, index, tuple(sound.values()), reasons


def _fill_defaults(raw):
    """What nobody wrote down gets the engineering package's default. Returns {name: rows where it did}."""
    count, used = len(raw["latitude_deg"]), {}

    def fill(name, values):
        missing = np.isnan(raw[name])
        if missing.any():
            raw[name] = np.where(missing, values, raw[name])
            used[name] = missing

    deepest = np.max(raw["static_level_m"], axis=1)
    fill("setting_depth_m", deepest + 10)
    fill("pipe_length_m", raw["setting_depth_m"] + np.nan_to_num(raw["tank_rise_m"]))
    fill("cable_length_m", raw["setting_depth_m"] + 10)
    raw["controller_efficiency"] = np.where(raw["coupling"] == 0, 1.0, raw["controller_efficiency"])
    for name, value in chain.DEFAULTS.items():
        if name not in raw:
            raw[name] = np.full(count, value, dtype=float)
        elif raw[name].ndim == 1:
            fill(name, value)
    no_limit = {"max_power_w", "max_voltage_v", "tank_capacity_l"}
    return {name: rows for name, rows in used.items() if name not in no_limit}


def _beyond_limits(raw, pumps):
    """{row: why it cannot be computed}: missing or impossible values."""
    reasons = {}

    def book(bad, sentence):
        for row in np.flatnonzero(bad):
            reasons.setdefault(int(row), sentence(row))

    missing_level = np.isnan(raw["static_level_m"]).any(axis=1)
    book(missing_level, lambda row: "No static level of the well is known. Enter one, with its day.")
    for name, label in NEEDED.items():
        book(np.isnan(raw[name]), lambda row, label=label: f"{label} is not known.")
    for name, (low, high) in LIMITS.items():
        values = raw[name] if raw[name].ndim == 2 else raw[name][:, None]
        bad = ((values < low) | (values > high)).any(axis=1)
        book(bad, lambda row, n=name, lo=low, hi=high: f"{n} = {np.nanmax(np.abs(raw[n][row])):g}: {lo:g} to {hi:g}.")
    above = raw["setting_depth_m"] <= raw["static_level_m"].min(axis=1)
    book(above, lambda row: "The pump hangs above the water: check setting depth and static level.")
    if pumps:
        no_volts = (raw["coupling"] == 0) & ~np.array([p.knows_voltage for p in pumps])[raw["pump_index"]]
        book(no_volts, lambda row: "The pump type has no points with voltage and current, which direct feed needs.")
    return reasons


NEEDED = {
    "latitude_deg": "The latitude",
    "v_mp_v": "The module type",
    "cable_area_mm2": "The drop cable",
    "pipe_inside_mm": "The pipe",
}
WHOLE = {"pump_index", "coupling", "conductor_class"}
FLAGS = {"float_switch", "dry_run_probe"}


def _as_fleet(raw, good, pumps):
    columns = {}
    for name in COLUMNS:
        kind = int if name in WHOLE else bool if name in FLAGS else float
        columns[name] = np.ascontiguousarray(raw[name][good]).astype(kind)
    return chain.Fleet(**columns, pumps=pumps)
