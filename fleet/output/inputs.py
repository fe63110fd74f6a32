"""What goes into the calculation of an installation, in the trade's words: name, unit, and with whom it stands."""

from dataclasses import dataclass

from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _

from fleet.registry import hiding
from fleet.web.quantities import number


@dataclass(frozen=True)
class Input:
    """One value that went in. `name`: of the fleet record; `shown`: the value in words, with its unit; `owner`: whose
    row it stands in; usual: nobody wrote it down, what is usual was taken."""

    name: str
    label: str
    value: float | None
    shown: str
    owner: str
    usual: bool


THE_SITE, THE_FRAME, THE_MODULES = _("the site"), _("the installation"), _("the module type")
THE_CABLE, THE_PIPE, THE_TANK, THE_WELL = _("the cable"), _("the pipe"), _("the tank"), _("the well")
THE_PUMP, THE_UNIT, USUAL = _("the pump type"), _("the unit's own test"), _("nobody's row: a usual value")

# name of the fleet record: (words, unit, decimals, whose row)
INPUTS = {
    "latitude_deg": (_("latitude"), "°", 4, THE_SITE),
    "longitude_deg": (_("longitude"), "°", 4, THE_SITE),
    "altitude_m": (_("altitude"), "m", 0, THE_SITE),
    "need_l_day": (_("water needed a day, that month"), "L", 0, THE_SITE),
    "tilt_deg": (_("tilt of the frame from flat"), "°", 0, THE_FRAME),
    "azimuth_deg": (_("bearing the frame faces, true"), "°", 0, THE_FRAME),
    "modules_in_series": (_("modules in series"), "", 0, THE_FRAME),
    "strings": (_("strings side by side"), "", 0, THE_FRAME),
    "age_y": (_("age of the modules"), "y", 1, THE_FRAME),
    "cable_length_m": (_("drop cable, length"), "m", 0, THE_FRAME),
    "setting_depth_m": (_("setting depth below datum"), "m", 1, THE_FRAME),
    "pipe_length_m": (_("pipe from pump to tank"), "m", 0, THE_FRAME),
    "dry_run_probe": (_("dry-run probe"), "", 0, THE_FRAME),
    "cells": (_("cells of a module"), "", 0, THE_MODULES),
    "p_stc_w": (_("rated power of a module"), "W", 0, THE_MODULES),
    "v_mp_v": (_("voltage at rated power"), "V", 1, THE_MODULES),
    "i_mp_a": (_("current at rated power"), "A", 2, THE_MODULES),
    "v_oc_v": (_("open-circuit voltage"), "V", 1, THE_MODULES),
    "i_sc_a": (_("short-circuit current"), "A", 2, THE_MODULES),
    "alpha_isc_pct_k": (_("short-circuit current, change with warmth"), "%/K", 3, THE_MODULES),
    "beta_voc_pct_k": (_("open-circuit voltage, change with warmth"), "%/K", 3, THE_MODULES),
    "gamma_p_pct_k": (_("power, change with warmth"), "%/K", 3, THE_MODULES),
    "noct_c": (_("nominal operating cell temperature"), "°C", 0, THE_MODULES),
    "cable_area_mm2": (_("drop cable, section"), "mm²", 1, THE_CABLE),
    "conductor_class": (_("conductor class: 2 stranded, 5 flexible"), "", 0, THE_CABLE),
    "pipe_inside_mm": (_("inside diameter of the pipe"), "mm", 1, THE_PIPE),
    "tank_rise_m": (_("rise from well head to tank"), "m", 1, THE_TANK),
    "tank_capacity_l": (_("tank holds"), "L", 0, THE_TANK),
    "float_switch": (_("float switch"), "", 0, THE_TANK),
    "fittings_k": (_("fittings, sum of loss coefficients"), "", 1, THE_TANK),
    "static_level_m": (_("static level below datum, that month"), "m", 1, THE_WELL),
    "drawdown_b_m_per_l_min": (_("drawdown in proportion to flow (B)"), "m/(L/min)", 4, THE_WELL),
    "drawdown_c": (_("drawdown with the square of flow (C)"), "m/(L/min)²", 6, THE_WELL),
    "coupling": (_("fed"), "", 0, THE_PUMP),
    "controller_efficiency": (_("best efficiency of the controller"), "%", 1, THE_PUMP),
    "start_power_w": (_("power at which the controller starts"), "W", 0, THE_PUMP),
    "max_power_w": (_("highest power"), "W", 0, THE_PUMP),
    "max_voltage_v": (_("highest voltage"), "V", 0, THE_PUMP),
    "flow_scale": (_("this unit's flow over its type's"), "%", 1, THE_UNIT),
    "soiling_fraction": (_("light lost to dirt"), "%", 1, USUAL),
    "mismatch_fraction": (_("lost between label and string: mismatch, joints, first light"), "%", 1, USUAL),
    "ageing_fraction_y": (_("power lost a year by ageing"), "%", 1, USUAL),
    "ground_reflectance": (_("light thrown back by the ground"), "%", 0, USUAL),
}
SHARES = {
    "controller_efficiency", "flow_scale", "soiling_fraction", "mismatch_fraction", "ageing_fraction_y",
    "ground_reflectance",
}  # fmt: skip


def _words(name, value, unit, decimals):
    if name == "coupling":
        return gettext("straight from the array") if value == 0 else gettext("through a tracking controller")
    if name in ("float_switch", "dry_run_probe"):
        return gettext("yes") if value else gettext("no")
    if value != value:
        return gettext("not known")
    if value == float("inf"):
        return gettext("no limit known")
    if name in SHARES:
        value *= 100
    return f"{number(value, decimals)} {unit}".strip()


def inputs_of(fleet, assumed, month, site):
    """Everything that went into one installation's calculation in a month (0 is January)."""
    found = []
    for name, (label, unit, decimals, owner) in INPUTS.items():
        value = getattr(fleet, name)[0]
        if getattr(value, "shape", ()):
            value = value[month]
        usual, value = name in assumed or owner is USUAL, float(value)
        found.append(Input(name, str(label), value, _words(name, value, unit, decimals), str(owner), usual))
    points = len(site.skyline)
    skyline = gettext("open all round, as far as is known")
    if points:
        top = max(height for _bearing, height in site.skyline)
        skyline = ngettext(
            "%(n)d point, up to %(deg)s°", "%(n)d points, up to %(deg)s°", points
        ) % {"n": points, "deg": number(top)}  # fmt: skip
    shade = hiding.windows_words(site.shade_windows, ", ") or gettext("none known")
    found.insert(4, Input("skyline", gettext("skyline"), None, skyline, str(THE_SITE), not points))
    found.insert(5, Input("shade_windows", gettext("windows of shade, sun time"), None, shade, str(THE_SITE),
                          not site.shade_windows))  # fmt: skip
    return found
