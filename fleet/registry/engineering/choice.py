"""From a survey and the organisation's catalogue to the pumps, arrays, pipes and cables that fit."""

from datetime import date

import numpy as np
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from fleet.registry.models import MonthlyClimate
from fleet.web import quantities
from fleet.web.refusals import Refused
from sizing import climate
from sizing.checks import Refusal
from sizing.choose import REASONS, CableOffer, Catalogue, ModuleOffer, PipeOffer, PumpOffer, Survey, choose
from sizing.pump import PumpCurve

MODULE_VALUES = (
    "cells", "p_stc_w", "v_mp_v", "i_mp_a", "v_oc_v", "i_sc_a", "alpha_isc_pct_k", "beta_voc_pct_k", "gamma_p_pct_k",
    "noct_c",
)  # fmt: skip
# The engineering's words for the default's source; pages translate what stands in `climate_source`.
DEFAULT_SOURCE = gettext_noop(
    "coarse default by place: NASA MERRA-2 2011-2015 on a 3 degree grid (Gelaro et al. 2017, Journal of Climate "
    "30:5419; histograms of Pfenninger & Staffell 2016, Energy 114:1251); tends high, by 8 % on average"
)
NO_PUMPS = gettext_noop("The catalogue has no pump type with test-sheet points. Enter one, or import the catalogue.")
NO_MODULES = gettext_noop("The catalogue has no module type yet. Enter one, or import the catalogue.")


def known(value):
    return float("nan") if value is None else float(value)


def curve_of(pump_type):
    """The type's curve from its test-sheet points. Refusal where they do not make one."""
    rows = list(pump_type.points.all())

    def column(name):
        return np.array([known(getattr(row, name)) for row in rows])

    return PumpCurve(
        pump_type.kind, column("head_m"), column("power_w"), column("flow_l_min"), column("voltage_v"),
        column("current_a"), name=pump_type.name,
    )  # fmt: skip


def catalogue_of(organisation):
    """(Catalogue of the engineering package, {pump type: why it is left out})."""
    pumps, left_out = [], {}
    for row in organisation.pump_types.prefetch_related("points"):
        try:
            pumps.append(
                PumpOffer(
                    row.name, curve_of(row), row.coupling, known(row.outside_diameter_mm), known(row.min_voltage_v),
                    known(row.max_voltage_v), known(row.max_power_w), known(row.max_head_m),
                    known(row.controller_efficiency), known(row.start_power_w), known(row.price),
                )
            )  # fmt: skip
        except Refusal as refusal:
            left_out[row.name] = str(refusal)
    modules = [
        ModuleOffer(row.name, {name: float(getattr(row, name)) for name in MODULE_VALUES}, known(row.price))
        for row in organisation.module_types.all()
    ]
    if not pumps:
        raise Refused("no_pumps", _(NO_PUMPS))
    if not modules:
        raise Refused("no_modules", _(NO_MODULES))
    pipes = tuple(
        PipeOffer(row.name, row.inside_mm, known(row.pressure_bar), known(row.price_per_m))
        for row in organisation.pipes.all()
    )
    cables = tuple(
        CableOffer(row.name, row.area_mm2, row.conductor_class, known(row.price_per_m))
        for row in organisation.cables.all()
    )
    # Without own pipes or cables the standards' sizes stand in, without prices.
    more = {name: rows for name, rows in (("pipes", pipes), ("cables", cables)) if rows}
    return Catalogue(tuple(pumps), tuple(modules), **more), left_out


def climate_at(latitude_deg, longitude_deg, altitude_m=None, site=None):
    """The sun of a place: a site's own twelve values where it has them, else the labelled default."""
    own = MonthlyClimate.objects.filter(site=site).first() if site is not None else None
    altitude = known(altitude_m)
    if own is not None and len(own.irradiation_kwh_m2_day) == 12:
        air = own.air_c if len(own.air_c) == 12 else None
        return climate.own_climate(
            latitude_deg, longitude_deg, own.irradiation_kwh_m2_day, air, altitude_m=altitude, source=own.source,
            day_ghi_kwh_m2_day=own.day_irradiation_kwh_m2 or None,
        )  # fmt: skip
    return climate.default_climate(latitude_deg, longitude_deg, altitude_m=altitude)


def answer_survey(*, organisation, order="margin", site=None, **survey):
    """What fits, for pages, paper and the API: (Answer, {pump type: why it is left out}).

    `survey`: the fields of `sizing.choose.Survey`, None for not known. Refuses what the engineering refuses, naming the
    field.
    """
    catalogue, left_out = catalogue_of(organisation)
    try:
        asked = Survey(**{name: value for name, value in survey.items() if value is not None})
        sun = climate_at(asked.latitude_deg, asked.longitude_deg, survey.get("altitude_m"), site)
        return choose(asked, sun, catalogue, order=order), left_out
    except Refusal as refusal:
        raise Refused("cannot_size", str(refusal), field=refusal.argument) from refusal


def sentence(check):
    """A check in the reader's language, with its numbers."""
    values = dict(check.values)
    if "month" in values:
        values["month"] = date_format(date(2001, int(values["month"]), 1), "F")
    return _(REASONS[check.code][0 if check.ok else 1]).format(**values)


def rows(answer):
    """The choices as plain values, in order."""
    found = []
    for choice in answer.choices:
        found.append({
            "pump": choice.pump, "module": choice.module, "in_series": choice.in_series, "strings": choice.strings,
            "array_w": _plain(choice.array_w), "pipe": choice.pipe, "pipe_length_m": _plain(choice.pipe_length_m),
            "cable": choice.cable, "cable_length_m": _plain(choice.cable_length_m),
            "setting_depth_m": _plain(choice.setting_depth_m), "head_m": _plain(choice.head_m),
            "peak_flow_l_min": _plain(choice.peak_flow_l_min),
            "litres_day": [_plain(value) for value in np.atleast_1d(choice.litres_day)],
            "low_l_day": [_plain(value) for value in np.atleast_1d(choice.low_l_day)],
            "worst_month": int(choice.worst_month) if choice.module else None,
            "margin": _plain(choice.margin), "margin_low": _plain(choice.margin_low),
            "low_by_sun": _plain(choice.low_by_sun), "low_by_model": _plain(choice.low_by_model),
            "price": _plain(choice.price),
            "fits": bool(choice.fits), "smallest": bool(choice.smallest),
            "checks": [{"code": c.code, "ok": bool(c.ok), "sentence": sentence(c)} for c in choice.checks],
        })  # fmt: skip
    return found


def range_words(row):
    """What the lower figure of a choice is made of."""
    sun, model = row["low_by_sun"], row["low_by_model"]
    return _(
        "In one case of ten there is less: of the worst month's water a dull year takes %(sun)s, a pump, array or well "
        "below its record %(model)s, both together %(both)s. Nothing has been measured yet, so no instrument counts."
    ) % {
        "sun": quantities.percent(sun), "model": quantities.percent(model),
        "both": quantities.percent(min(np.hypot(sun, model), 1.0)),
    }  # fmt: skip


def _plain(value):
    value = float(value)
    return value if np.isfinite(value) else None


def offered(found):
    """What a page shows first: the smallest array of each pump that fits, then what does not fit and why."""
    fitting = [row for row in found if row["fits"] and row["smallest"]]
    larger = [row for row in found if row["fits"] and not row["smallest"]]
    best = {}
    for row in found:
        if not row["fits"] and row["pump"] not in {f["pump"] for f in fitting}:
            best.setdefault(row["pump"], row)
    return fitting, larger, list(best.values())
