"""The built-in procedures, as data. Texts are English sources; pages translate them when they show them."""

from django.utils.translation import gettext_noop as _

from fleet.visits.procedures import building_up, looking_after
from fleet.visits.procedures.cautions import CAUTIONS, CODES_FIRST

TITLES = {
    "survey": _("Survey"),
    "installation": _("Installation"),
    "commissioning": _("Commissioning"),
    "inspection": _("Inspection"),
    "repair": _("Fault call and repair"),
    "relocation": _("Relocation"),
    "retirement": _("Retirement"),
}

STEPS = {
    "survey": building_up.survey,
    "installation": building_up.installation,
    "commissioning": building_up.commissioning,
    "inspection": looking_after.inspection,
    "repair": looking_after.repair,
    "relocation": looking_after.relocation,
    "retirement": looking_after.retirement,
}


def built_in(kind):
    """Title and steps of the procedure that comes with the house."""
    return {"kind": kind, "title": TITLES[kind], "steps": STEPS[kind]()}


__all__ = ["CAUTIONS", "CODES_FIRST", "STEPS", "TITLES", "built_in"]
