"""Rules of the trade that warn at entry and never forbid: local codes and licensed practice come first.

Each rule takes plain facts and gives (field, sentence) or nothing, so that forms, imports and the API say the same.
All of them are common practice without a single source unless one is named.
"""

from django.utils.translation import gettext as _

COLDEST_C = -5.0  # a cold clear morning in the high tropics; cells are no warmer than the air then
CLEARANCE_MM = 8.0  # between pump and casing all round taken together: cable, its ties, a little crookedness
BOTTOM_M = 1.0
ABOVE_PUMP_M = 1.0
REACH_M = 3.0  # out of reach when unfenced
FENCED_M = 1.5


def pump_fits_the_well(outside_diameter_mm, inside_diameter_mm):
    if outside_diameter_mm and inside_diameter_mm:
        if outside_diameter_mm >= inside_diameter_mm:
            yield "unit", _("The pump is %(pump)g mm across and the well only %(well)g mm inside: it does not fit.") % {
                "pump": outside_diameter_mm, "well": inside_diameter_mm}  # fmt: skip
        elif inside_diameter_mm - outside_diameter_mm < CLEARANCE_MM:
            yield "unit", _("Only %(gap).0f mm are left between pump (%(pump)g mm) and well (%(well)g mm); lower a "
                            "dummy of the pump's size first.") % {
                "gap": inside_diameter_mm - outside_diameter_mm, "pump": outside_diameter_mm,
                "well": inside_diameter_mm}  # fmt: skip


def setting_depth(setting_depth_m, well_depth_m, static_level_m, drawdown_m=None):
    if not setting_depth_m:
        return
    if well_depth_m and setting_depth_m > well_depth_m:
        yield "setting_depth_m", _("The pump would hang at %(set)g m in a well of %(deep)g m.") % {
            "set": setting_depth_m, "deep": well_depth_m}  # fmt: skip
    elif well_depth_m and setting_depth_m > well_depth_m - BOTTOM_M:
        yield "setting_depth_m", _("The pump hangs within %(m)g m of the bottom, where sand gathers.") % {"m": BOTTOM_M}
    if static_level_m is None:
        return
    if setting_depth_m <= static_level_m:
        yield "setting_depth_m", _("The pump would hang at %(set)g m, above the resting water at %(level)g m.") % {
            "set": setting_depth_m, "level": static_level_m}  # fmt: skip
    elif setting_depth_m < static_level_m + (drawdown_m or 0) + ABOVE_PUMP_M:
        yield "setting_depth_m", _("At work the water is drawn down to about %(level).1f m; the pump at %(set)g m "
                                   "would hang less than %(m)g m below it.") % {
            "level": static_level_m + (drawdown_m or 0), "set": setting_depth_m, "m": ABOVE_PUMP_M}  # fmt: skip


def hanging_order(pipe_length_m, rope_length_m, cable_length_m):
    """The pump hangs on the pipe; the rope is only the second hold; the cable carries nothing."""
    if pipe_length_m and rope_length_m and rope_length_m <= pipe_length_m:
        yield "rope_length_m", _("The rope (%(rope)g m) must be longer than the pipe (%(pipe)g m): the pump hangs on "
                                 "the pipe, and the rope is only the second hold.") % {
            "rope": rope_length_m, "pipe": pipe_length_m}  # fmt: skip
    if cable_length_m:
        longest = max(pipe_length_m or 0, rope_length_m or 0)
        if longest and cable_length_m <= longest:
            yield "cable_length_m", _("The cable (%(cable)g m) must be longer than pipe and rope (%(other)g m): no "
                                      "weight "
                                      "may ever come on it.") % {"cable": cable_length_m, "other": longest}  # fmt: skip


def out_of_reach(mounting_height_m, fenced):
    if mounting_height_m is None:
        return
    if not fenced and mounting_height_m < REACH_M - 0.2:
        yield "mounting_height_m", _("Without a fence the modules should stand about %(m)g m up, out of reach of "
                                     "hands, cattle and stones.") % {"m": REACH_M}  # fmt: skip
    if fenced and mounting_height_m > FENCED_M:
        yield "mounting_height_m", _("Inside a fence the modules may stand at %(m)g m or lower, where they can be "
                                     "cleaned from the ground.") % {"m": FENCED_M}  # fmt: skip


def cold_voltage(v_oc_v, beta_voc_pct_k, modules_in_series, limit_v, coldest_c=COLDEST_C):
    """Open-circuit voltage of a string on the coldest morning against the controller's limit."""
    if not (v_oc_v and limit_v and modules_in_series):
        return
    cold = modules_in_series * v_oc_v * (1 + (beta_voc_pct_k or 0) / 100 * (coldest_c - 25))
    if cold > limit_v:
        yield "modules_in_series", _("On a cold morning (%(c)g °C) %(n)s modules in series stand at %(v).0f V; the "
                                     "controller bears %(limit)g V. It would be destroyed. Fewer in series.") % {
            "c": coldest_c, "n": modules_in_series, "v": cold, "limit": limit_v}  # fmt: skip


def boxes_shaded(shaded):
    if shaded is False:
        yield "boxes_shaded", _("Boxes belong in the shade of the modules: heat makes controllers stop and ages them.")


def facing(latitude_deg, azimuth_deg, tilt_deg):
    if latitude_deg is None or azimuth_deg is None or not tilt_deg or tilt_deg < 5 or abs(latitude_deg) < 3:
        return
    wanted = 180 if latitude_deg > 0 else 0
    off = abs((azimuth_deg - wanted + 180) % 360 - 180)
    if off > 90:
        yield "azimuth_deg", _("The modules face away from the equator. Azimuth counts from true north, clockwise: "
                               "south is 180.")  # fmt: skip


def of_installation(
    *, pump_diameter_mm=None, well_diameter_mm=None, well_depth_m=None, static_level_m=None,
    specific_capacity_m3_h_m=None, need_m3_day=None, latitude_deg=None, v_oc_v=None, beta_voc_pct_k=None,
    modules_in_series=None, controller_max_voltage_v=None, tilt_deg=None, azimuth_deg=None, mounting_height_m=None,
    fenced=False, boxes_shaded_=None, pipe_length_m=None, rope_length_m=None, cable_length_m=None,
    setting_depth_m=None,
):  # fmt: skip
    """All rules at once over plain facts; what is not known is not judged. A list of (field, sentence)."""
    drawdown = None
    if specific_capacity_m3_h_m and need_m3_day:
        drawdown = need_m3_day / 6 / specific_capacity_m3_h_m  # the need within six hours of sun
    found = [
        *pump_fits_the_well(pump_diameter_mm, well_diameter_mm),
        *setting_depth(setting_depth_m, well_depth_m, static_level_m, drawdown),
        *hanging_order(pipe_length_m, rope_length_m, cable_length_m),
        *out_of_reach(mounting_height_m, fenced),
        *cold_voltage(v_oc_v, beta_voc_pct_k, modules_in_series, controller_max_voltage_v),
        *boxes_shaded(boxes_shaded_),
        *facing(latitude_deg, azimuth_deg, tilt_deg),
    ]
    return [(field, str(sentence)) for field, sentence in found]


def of(installation, static_level_m=None):
    """The rules over an installation (saved or not) with its unit, well and module type at hand."""
    well, unit, module = installation.well, installation.unit, installation.module_type
    site = well.site
    return of_installation(
        pump_diameter_mm=unit.pump_type.outside_diameter_mm,
        well_diameter_mm=well.inside_diameter_mm, well_depth_m=well.depth_m, static_level_m=static_level_m,
        specific_capacity_m3_h_m=well.specific_capacity_m3_h_m,
        need_m3_day=max(site.need_m3_day) if site.need_m3_day else None, latitude_deg=site.latitude_deg,
        v_oc_v=module.v_oc_v if module else None, beta_voc_pct_k=module.beta_voc_pct_k if module else None,
        modules_in_series=installation.modules_in_series,
        controller_max_voltage_v=installation.controller_max_voltage_v, tilt_deg=installation.tilt_deg,
        azimuth_deg=installation.azimuth_deg, mounting_height_m=installation.mounting_height_m,
        fenced=installation.fenced, boxes_shaded_=installation.boxes_shaded,
        pipe_length_m=installation.pipe_length_m, rope_length_m=installation.rope_length_m,
        cable_length_m=installation.cable_length_m, setting_depth_m=installation.setting_depth_m,
    )  # fmt: skip
