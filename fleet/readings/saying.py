"""A figure in doubt in words: what was due, what stands there, what would fit, and what one click will do.

Worked out when it is read, so that everybody has it in their own language. `facts` of a slip: due_l, days (of a meter
since its last good figure), before_l, before_on; of a noon `usual`, of a spot test `right`: the figure due.
"""

from datetime import date

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet.web.quantities import GAP, exact, litres_written, number

UNITS = {
    "_l_min": "L/min", "_kwh_m2": "kWh/m²", "_w_m2": "W/m²", "_mohm": "Mohm", "_ohm": "ohm", "_min": "min", "_l": "L",
    "_v": "V", "_a": "A", "_c": "°C", "_m": "m",
}  # fmt: skip


def unit_of(slip):
    """The unit of the figure in doubt."""
    return next((unit for end, unit in UNITS.items() if slip.field.endswith(end)), "")


def written(slip, value):
    """A figure as it stands on the paper, not rounded, with its unit."""
    unit = unit_of(slip)
    if value is None or unit == "L":
        return litres_written(value)
    return f"{exact(value)}{GAP}{unit}" if unit else exact(value)


def why(slip):
    """Why the figure is in doubt."""
    if slip.why:
        return slip.why
    return " ".join(filter(None, (_due(slip), _stands(slip))))


NOON = {
    "noon_irradiance_w_m2": gettext_lazy("irradiance at noon"), "noon_voltage_v": gettext_lazy("voltage at noon"),
    "noon_current_a": gettext_lazy("current at noon"), "noon_level_m": gettext_lazy("depth to water at noon"),
}  # fmt: skip


def figure_of(slip):
    """Which figure of its noon or spot test it is; empty where there is only one."""
    if slip.subject == "noon":
        return str(NOON.get(slip.field, ""))
    if slip.subject == "spot":  # named with its unit, as in "static level below datum, m"
        fields = slip._meta.get_field("spot_test").related_model._meta
        return str(fields.get_field(slip.field).verbose_name).split(",")[0]
    return ""


def _due(slip):
    level = slip.field.endswith("level_m")
    if (usual := slip.facts.get("usual")) is not None:
        words = {"due": written(slip, _rounded(usual))}
        return (_("About %(due)s was usual on the noons around.") if level else
                _("About %(due)s was usual on the noons around, at this sun.")) % words  # fmt: skip
    if (right := slip.facts.get("right")) is not None:
        words = {"due": written(slip, _rounded(right))}
        return (_("About %(due)s is right for this well.") if level else
                _("About %(due)s is right for this unit, sun and level.")) % words  # fmt: skip
    due, days = slip.facts.get("due_l"), slip.facts.get("days")
    if due is None:
        return ""
    words = {"due": f"{number(_rounded(due))}{GAP}L"}
    if days is None:
        return _("About %(due)s were due that day.") % words
    days = max(round(days), 1)
    return ngettext(
        "About %(due)s were due in the %(days)s day since the last good figure.",
        "About %(due)s were due in the %(days)s days since the last good figure.",
        days,
    ) % (words | {"days": days})


def _rounded(value):
    return float(f"{value:.2g}")


def _stands(slip):
    serial = slip.other.unit.serial if slip.other_id else ""
    words = {"found": written(slip, slip.found), "fits": written(slip, slip.suggested), "serial": serial}
    known = slip.suggested is not None
    if slip.kind == "backwards" and "before_l" in slip.facts:
        day = date.fromisoformat(slip.facts["before_on"])
        words |= {"before": written(slip, slip.facts["before_l"]), "day": formats.date_format(day, "j M Y")}
        return _("The total was %(before)s on %(day)s; %(found)s is less.") % words
    if slip.kind == "slip_of_ten" and known and slip.found is not None:
        if slip.suggested > slip.found:
            return _("%(found)s stands here; with a nought more, %(fits)s, it would fit.") % words
        return _("%(found)s stands here; with a nought less, %(fits)s, it would fit.") % words
    if slip.kind == "swapped_digits" and known:
        return _("%(found)s stands here; with two digits changed over, %(fits)s, it would fit.") % words
    if slip.kind == "swapped_readings" and known and serial:
        return _("%(found)s stands here; %(fits)s would fit, which stands for %(serial)s, where this one fits.") % words
    if slip.kind == "volts_for_amps" and known:
        return _("%(found)s stands here; %(fits)s, which stands in the other place, would fit.") % words
    if slip.kind == "wrong_serial" and serial:
        return _("%(found)s stands here; it would fit %(serial)s.") % words
    if slip.kind == "rollover" and known:
        return _("%(found)s stands here, less than before; it fits if the meter starts again after %(fits)s.") % words
    if slip.kind == "wrong_unit" and known:
        return _("%(found)s stands here; meant in another unit of measure it is %(fits)s, which would fit.") % words
    if slip.kind == "impossible":
        return _("%(found)s stands here; no such unit gives that, and no slip of the pen would explain it.") % words
    return ""


def will(slip):
    """What settling it as suggested will do; empty where nothing is suggested."""
    if slip.suggested is None and not (slip.kind == "wrong_serial" and slip.other_id):
        return ""
    words = {"fits": written(slip, slip.suggested), "serial": slip.other.unit.serial if slip.other_id else ""}
    if slip.kind == "rollover":
        return _("The meter started again after %(fits)s; remember that for this meter. The figure stays.") % words
    if slip.kind == "swapped_readings" and slip.other_id:
        return _("Exchange with %(serial)s’s %(fits)s: both figures change places.") % words
    if slip.kind == "volts_for_amps":
        sentence = _("Volts and amps change places: this figure becomes %(fits)s, and the other is put right with it.")
        return sentence % words
    if slip.kind == "wrong_serial" and slip.other_id:
        return _("The figure goes to %(serial)s.") % words
    return _("The figure becomes %(fits)s.") % words
