"""What the registry's verbs share: whose row it is, and faults of a row as refusals."""

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as lazy

from fleet.people.access import require
from fleet.web.refusals import Refused


def require_own(by, deed, *rows):
    """The role covers the deed, and every row given is of the person's own organisation."""
    require(by, deed)
    if by is None:
        return
    for row in rows:
        if row is not None and organisation_id_of(row) != by.organisation_id:
            raise Refused("not_yours", _("There is nothing here that you may change."))


def organisation_id_of(row):
    if hasattr(row, "organisation_id"):
        return row.organisation_id
    if hasattr(row, "site_id"):
        return row.site.organisation_id
    if hasattr(row, "well_id"):
        return row.well.site.organisation_id
    return row.unit.organisation_id


def keep(row, values=None):
    """Set values, check the row wholly, store it. The first fault becomes a refusal with its field."""
    for name, value in (values or {}).items():
        setattr(row, name, value)
    try:
        row.full_clean()
    except ValidationError as error:
        raise refused(error) from error
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError as error:  # the race that the check could not see
        raise race(error, type(row)) from error
    return row


def refused(error):
    """A Refused of the first thing that a ValidationError says."""
    if hasattr(error, "error_dict"):
        field, faults = next(iter(error.error_dict.items()))
        fault = faults[0]
        return Refused(fault.code or "invalid", _sentence(fault), None if field == "__all__" else field)
    fault = error.error_list[0]
    return Refused(fault.code or "invalid", _sentence(fault))


# Check constraints of the database in words; the others carry their own sentence.
RULES = {
    "module_values_in_order": lazy("Open-circuit voltage must be above the voltage at highest power, and "
                                   "short-circuit current not below the current at highest power."),
    "pipe_has_a_bore": lazy("With this wall the pipe has no bore."),
    "cable_of_a_known_class": lazy("Conductor classes are 2 and 5, and the section is above zero."),
    "pump_type_sizes_above_zero": lazy("Diameter, voltage, power and head must be above zero."),
    "controller_efficiency_up_to_one": lazy("The controller's efficiency is a share: 0.95, not 95."),
    "pump_point_not_negative": lazy("Head and flow cannot be below zero, and power must be above it."),
    "unit_point_not_negative": lazy("Head and flow cannot be below zero, and power must be above it."),
    "site_on_the_globe": lazy("Latitude goes from -90 to 90, longitude from -180 to 180."),
    "well_sizes_above_zero": lazy("Diameter, depth and specific capacity must be above zero."),
    "static_level_below_datum": lazy("A water level is counted downwards from the datum; at most 5 m above it."),
    "tank_run_not_negative": lazy("The run of pipe cannot be below zero, and a tank's size is above it."),
    "installation_angles_in_range": lazy("Tilt goes from 0 to 90, azimuth from 0 to 360 degrees."),
    "installation_has_modules": lazy("There is at least one module in series and one string."),
    "serial_kept_once": lazy("A unit of this serial is known already."),
}  # fmt: skip


def _sentence(fault):
    text = " ".join(fault.messages)
    for name, words in RULES.items():
        if f"“{name}”" in text:
            return str(words)
    return text


def race(error, model):
    name = getattr(getattr(error.__cause__, "diag", None), "constraint_name", "") or ""
    for constraint in model._meta.constraints:
        if constraint.name == name:
            code = getattr(constraint, "violation_error_code", None) or name
            words = RULES.get(name) or constraint.get_violation_error_message()
            return Refused(code, str(words))
    return Refused("changed_meanwhile", _("Somebody changed this meanwhile. Load the page afresh and try again."))
