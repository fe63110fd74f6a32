"""Why a choice fits or not, as codes with numbers; the sentences here are the English source for translation."""

from calendar import month_name

__all__ = ["REASONS", "sentence"]

# code: (sentence when it holds, sentence when it does not); the numbers' names carry their units.
REASONS = {
    "bore": (
        "The pump ({pump_mm:.0f} mm) goes into the well ({well_mm:.0f} mm).",
        "The pump ({pump_mm:.0f} mm) needs {clearance_mm:.0f} mm of room; the well is {well_mm:.0f} mm wide.",
    ),
    "bore_not_known": (
        "Measure the well: whether the pump fits into it is not known.",
        "Measure the well: whether the pump fits into it is not known.",
    ),
    "depth": (
        "The pump hangs at {setting_m:.1f} m, under water all year.",
        "To stay under water the pump would hang at {setting_m:.1f} m; the well allows {deepest_m:.1f} m.",
    ),
    "head": (
        "The head of {head_m:.0f} m is within the pump's {limit_m:.0f} m.",
        "The head of {head_m:.0f} m is beyond the pump's {limit_m:.0f} m.",
    ),
    "head_low": (
        "The head of {head_m:.0f} m is within what the pump was tried at (from {limit_m:.0f} m).",
        "The head of {head_m:.0f} m is below the {limit_m:.0f} m that the pump was tried at; its answer is not safe.",
    ),
    "pipe": (
        "Pipe {pipe}: {friction_m:.1f} m of friction at {flow_l_min:.1f} L/min, bears {bears_m:.0f} m.",
        "No pipe of the catalogue bears {needed_m:.0f} m and carries {flow_l_min:.1f} L/min without losing too much.",
    ),
    "cable": (
        "Cable {area_mm2:g} mm2 over {length_m:.0f} m loses {drop_pct:.1f} % of the voltage.",
        "No cable of the catalogue keeps the loss over {length_m:.0f} m within {limit_pct:.0f} %.",
    ),
    "voltage": (
        "{cold_v:.0f} V on a cold morning, {hot_v:.0f} V on a hot noon: within {low_v:.0f} to {high_v:.0f} V.",
        "No layout of these modules stays within {low_v:.0f} to {high_v:.0f} V from a cold morning to a hot noon.",
    ),
    "voltage_direct": (
        "Loaded, {cold_v:.0f} V on a cool morning, {hot_v:.0f} V on a hot noon: within {low_v:.0f} to {high_v:.0f} V.",
        "No layout of these modules, loaded, stays within {low_v:.0f} to {high_v:.0f} V.",
    ),
    "array": (
        "{modules:.0f} modules, {array_w:.0f} W.",
        "No layout up to {most:.0f} modules gives this pump enough power and not far too much.",
    ),
    "yield": (
        "The well bears {safe_l_min:.1f} L/min; the pump takes up to {flow_l_min:.1f} L/min.",
        "The pump takes up to {flow_l_min:.1f} L/min; the well bears {safe_l_min:.1f} L/min.",
    ),
    "need": (
        "In the worst month, {month}, it gives {given_l:,.0f} L a day of the {need_l:,.0f} L needed.",
        "In the worst month, {month}, it gives {given_l:,.0f} L a day; {need_l:,.0f} L are needed.",
    ),
    "sure": (
        "It meets the need also in a dull year with a weak pump.",
        "In a dull year or with a weak pump it may fall to {given_l:,.0f} L a day in {month}.",
    ),
    "record": (
        "The catalogue's values can be computed with.",
        "The catalogue's values cannot be computed with: {why}",
    ),
}


def sentence(code, ok, values):
    """The English sentence of one check. A page translates REASONS and formats with the same values."""
    named = {"month": month_name[int(values["month"])]} if "month" in values else {}
    return REASONS[code][0 if ok else 1].format(**values | named)
