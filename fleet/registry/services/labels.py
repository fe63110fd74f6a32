"""Short codes on units: six signs and a check sign, easy to read out over a bad line.

The check sign is that of ISO/IEC 7064, MOD 37,36: it finds every single wrong sign and nearly every swap of neighbours.
"""

import secrets

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from fleet.registry.models import Label
from fleet.registry.services.keeping import require_own
from fleet.web.refusals import Refused

SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
CLEAR = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"  # without 0 and O, 1 and I, which look alike on a worn plate


def check_sign(body):
    """The check sign of a code by ISO/IEC 7064 MOD 37,36."""
    p = 36
    for sign in body:
        p = (p + SIGNS.index(sign)) % 36 or 36
        p = p * 2 % 37
    return SIGNS[(37 - p) % 36]


def holds(code):
    """Whether the last sign is the check sign of the rest."""
    return len(code) > 1 and all(sign in SIGNS for sign in code) and check_sign(code[:-1]) == code[-1]


def _new_code():
    while True:
        body = "".join(secrets.choice(CLEAR) for _n in range(6))
        if check_sign(body) in CLEAR:
            return body + check_sign(body)


def label_of(*, unit, by=None):
    """The unit's label, made at first asking."""
    require_own(by, "read_fleet", unit)
    for _n in range(5):
        found = Label.objects.filter(unit=unit).first()
        if found:
            return found
        try:
            with transaction.atomic():
                return Label.objects.create(unit=unit, code=_new_code())
        except IntegrityError:  # somebody was first, or the code is taken: look again
            continue
    raise Refused("no_code", _("No free code was found. Try again."))


def labels_for(*, units, by=None):
    """Labels of many units, those missing made in one go. {unit id: label}"""
    units = list(units)
    require_own(by, "read_fleet", *units)
    Label.objects.bulk_create(
        [Label(unit=unit, code=_new_code()) for unit in units if not hasattr(unit, "label")], ignore_conflicts=True
    )
    return {label.unit_id: label for label in Label.objects.filter(unit__in=units)}


def read_label(text):
    """The code in what somebody typed or scanned; refuses a slip of the pen."""
    code = "".join(sign for sign in (text or "").upper() if sign.isalnum())
    if not holds(code) or len(code) != 7:
        raise Refused("label_slip", _("This code has a slip in it. Read the seven signs on the plate once more."),
        "code")
    return code
