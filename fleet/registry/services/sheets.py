"""Sheets to print: labels."""

import io

import segno
from django.conf import settings
from django.utils import timezone

from fleet.registry.models import Label
from fleet.registry.services.labels import labels_for
from fleet.web import paper


def label_sheet(*, units, by=None, each=1):
    """A PDF of labels, 3 by 8 on an A4 sheet: QR code, the code's seven signs in groups, serial and type.

    The QR code holds the address /u/CODE of this house (the setting SITE_ADDRESS) and leads to the unit's page.
    """
    units = list(units)
    labels = labels_for(units=units, by=by)
    rows, files = [], {}
    for unit in units:
        label = labels[unit.pk]
        name = f"codes/{label.code}.svg"
        out = io.BytesIO()
        address = f"{settings.SITE_ADDRESS.rstrip('/')}/u/{label.code}"
        segno.make(address, error="m", micro=False).save(out, kind="svg", scale=4, border=2)
        files[name] = out.getvalue()
        spoken = f"{label.code[:3]} {label.code[3:6]} {label.code[6]}"
        row = {"code": f"/files/{name}", "spoken": spoken, "serial": unit.serial, "type": unit.pump_type.name}
        rows += [row] * each
    Label.objects.filter(pk__in=[label.pk for label in labels.values()]).update(printed_at=timezone.now())
    return paper.pdf("registry/labels.typ", {"labels": rows}, files=files)
