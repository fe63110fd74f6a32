"""Why a choice fits or not, for the catalogues: the sentences of `sizing.choose`, word by word, held so by a test."""

from django.utils.translation import gettext_noop as _

TEXTS = (
    _("The pump ({pump_mm:.0f} mm) goes into the well ({well_mm:.0f} mm)."),
    _("The pump ({pump_mm:.0f} mm) needs {clearance_mm:.0f} mm of room; the well is {well_mm:.0f} mm wide."),
    _("Measure the well: whether the pump fits into it is not known."),
    _("The pump hangs at {setting_m:.1f} m, under water all year."),
    _("To stay under water the pump would hang at {setting_m:.1f} m; the well allows {deepest_m:.1f} m."),
    _("The head of {head_m:.0f} m is within the pump's {limit_m:.0f} m."),
    _("The head of {head_m:.0f} m is beyond the pump's {limit_m:.0f} m."),
    _("The head of {head_m:.0f} m is within what the pump was tried at (from {limit_m:.0f} m)."),
    _("The head of {head_m:.0f} m is below the {limit_m:.0f} m that the pump was tried at; its answer is not safe."),
    _("Pipe {pipe}: {friction_m:.1f} m of friction at {flow_l_min:.1f} L/min, bears {bears_m:.0f} m."),
    _("No pipe of the catalogue bears {needed_m:.0f} m and carries {flow_l_min:.1f} L/min without losing too much."),
    _("Cable {area_mm2:g} mm2 over {length_m:.0f} m loses {drop_pct:.1f} % of the voltage."),
    _("No cable of the catalogue keeps the loss over {length_m:.0f} m within {limit_pct:.0f} %."),
    _("{cold_v:.0f} V on a cold morning, {hot_v:.0f} V on a hot noon: within {low_v:.0f} to {high_v:.0f} V."),
    _("No layout of these modules stays within {low_v:.0f} to {high_v:.0f} V from a cold morning to a hot noon."),
    _("Loaded, {cold_v:.0f} V on a cool morning, {hot_v:.0f} V on a hot noon: within {low_v:.0f} to {high_v:.0f} V."),
    _("No layout of these modules, loaded, stays within {low_v:.0f} to {high_v:.0f} V."),
    _("{modules:.0f} modules, {array_w:.0f} W."),
    _("No layout up to {most:.0f} modules gives this pump enough power and not far too much."),
    _("The well bears {safe_l_min:.1f} L/min; the pump takes up to {flow_l_min:.1f} L/min."),
    _("The pump takes up to {flow_l_min:.1f} L/min; the well bears {safe_l_min:.1f} L/min."),
    _("In the worst month, {month}, it gives {given_l:,.0f} L a day of the {need_l:,.0f} L needed."),
    _("In the worst month, {month}, it gives {given_l:,.0f} L a day; {need_l:,.0f} L are needed."),
    _("It meets the need also in a dull year with a weak pump."),
    _("In a dull year or with a weak pump it may fall to {given_l:,.0f} L a day in {month}."),
    _("The catalogue's values can be computed with."),
    _("The catalogue's values cannot be computed with: {why}"),
)
