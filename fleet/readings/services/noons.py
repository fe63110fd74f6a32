"""Noon records that people write or bring in: figures that look like a slip are marked, with what would fit.

What a logger's finer samples gave is no handwriting and is not asked about. A noon in doubt is not used until a person
settles it; a figure that comes anew in its place is looked at anew.
"""

from datetime import timedelta

import numpy as np
from django.db import transaction
from django.utils import timezone

from fleet.readings import staging
from fleet.readings.models import DayRecord, Slip, Standing
from fleet.readings.querysets import USED
from fleet.readings.services.clock import local_day, noon_of
from fleet.registry.models import Installation
from sizing.judge import Noons, doubt_noons
from sizing.judge.instruments import DAYS_OFF
from sizing.judge.mistakes import DIGITS_SWAPPED, SLIP_OF_TEN, WRONG_UNIT

FIELDS = {
    "sun_w_m2": "noon_irradiance_w_m2", "volts": "noon_voltage_v", "amps": "noon_current_a", "level_m": "noon_level_m",
}  # fmt: skip
KINDS = {
    SLIP_OF_TEN: Slip.Kind.SLIP_OF_TEN, DIGITS_SWAPPED: Slip.Kind.SWAPPED_DIGITS, WRONG_UNIT: Slip.Kind.WRONG_UNIT,
}  # fmt: skip
ROWS = {
    "id": ("bigint", "d.installation_id"),
    "day": ("date", "d.day"),
    "standing": ("smallint", "d.noon_standing"),
    "derived": ("smallint", "d.derived::int"),
    "direct": ("smallint", "(p.coupling = 'direct')::int"),
    "nominal_v": ("float8", "m.v_mp_v * i.modules_in_series"),
    "nominal_a": ("float8", "m.i_mp_a * i.strings"),
    **{name: ("float8", f"d.{field}") for name, field in FIELDS.items()},
}


@transaction.atomic
def look_at_noons(installations, days):
    """Mark slips among the noon records of these installations and days (n,), and let those go that have been mended.
    Returns how many figures were found wanting."""
    rows = _around(installations, days)
    if not len(rows["id"]):
        return 0
    came = np.isin(_key(rows["id"], rows["day"]), _key(np.asarray(installations), np.asarray(days)))
    asked = came & (rows["derived"] == 0) & np.isin(rows["standing"], (Standing.GOOD, Standing.IN_DOUBT))
    slips = doubt_noons(Noons(
        unit=rows["id"], day=rows["day"].astype(np.int64), counts=np.isin(rows["standing"], USED), asked=asked,
        nominal_v=rows["nominal_v"], nominal_a=rows["nominal_a"], direct=rows["direct"] > 0,
        **{name: rows[name] for name in FIELDS},
    ))  # fmt: skip
    found = {}
    for slip in slips:
        found.setdefault((int(rows["id"][slip.place]), rows["day"][slip.place].item()), []).append(slip)
    waiting = asked & (rows["standing"] == Standing.IN_DOUBT)
    again = set(zip(rows["id"][waiting].tolist(), rows["day"][waiting].tolist(), strict=True))
    again |= _open(rows["id"][asked], rows["day"][asked])
    return _mark(rows, found, again | set(found)) if found or again else 0


def _key(ids, days):
    return np.asarray(ids, np.int64) * 1_000_000 + np.asarray(days).astype("datetime64[D]").astype(np.int64)


def _around(installations, days):
    days = np.asarray(days).astype("datetime64[D]")
    return staging.fetch(
        ROWS,
        f"""FROM readings_dayrecord d JOIN registry_installation i ON i.id = d.installation_id
            JOIN registry_unit u ON u.id = i.unit_id JOIN registry_pumptype p ON p.id = u.pump_type_id
            LEFT JOIN registry_moduletype m ON m.id = i.module_type_id
            WHERE d.installation_id = ANY(%s) AND d.day BETWEEN %s AND %s
            AND num_nonnulls({", ".join(f"d.{field}" for field in FIELDS.values())}) > 0""",
        [np.unique(installations).tolist(), str(days.min() - DAYS_OFF), str(days.max() + DAYS_OFF)],
        order="d.installation_id, d.day",
    )


def _open(ids, days):
    """Which of these installations and days have a figure that waits."""
    if not len(ids):
        return set()
    span = (days.min().item() - timedelta(days=1), days.max().item() + timedelta(days=1))
    noons = Slip.objects.waiting().filter(
        subject=Slip.Subject.NOON, installation_id__in=staging.among(np.unique(ids)), at__date__range=span
    )
    there = set(zip(ids.tolist(), days.tolist(), strict=True)) if noons.exists() else set()
    rows = noons.select_related("installation__well__site") if there else ()
    return {(s.installation_id, local_day(s.installation, s.at)) for s in rows} & there


def _mark(rows, found, looked):
    """Slips of the noons (installation, day) that were found wanting, and of those `looked` at only these."""
    owners = Installation.objects.select_related("well__site").in_bulk(list({pk for pk, _day in looked}))
    at = {(pk, day): noon_of(owners[pk], day) for pk, day in looked}
    known = Slip.objects.filter(subject=Slip.Subject.NOON, installation_id__in=list(owners), at__in=list(at.values()))
    answered = set(known.filter(settled_by__isnull=False).values_list("installation_id", "at", "field", "found"))
    made = []
    for key, slip in ((key, slip) for key, slips in found.items() for slip in slips):
        figure, field = float(rows[slip.name][slip.place]), FIELDS[slip.name]
        if (key[0], at[key], field, figure) not in answered:
            made.append(Slip(
                installation_id=key[0], subject=Slip.Subject.NOON, at=at[key], field=field, found=figure,
                suggested=round(slip.meant, 6), kind=KINDS[slip.kind],
                facts={"usual": round(slip.due, 3)} if np.isfinite(slip.due) else {},
            ))  # fmt: skip
    Slip.objects.bulk_create(
        made, update_conflicts=True, unique_fields=["installation", "subject", "at", "field"],
        update_fields=["found", "suggested", "kind", "facts", "state", "settled_by", "settled_at", "decision"],
    )  # fmt: skip
    still = {(s.installation_id, s.at, s.field) for s in made}
    noons = {(pk, at[pk, day]) for pk, day in looked}
    gone = [
        s.pk for s in known.waiting()
        if (s.installation_id, s.at) in noons and (s.installation_id, s.at, s.field) not in still
    ]  # fmt: skip
    Slip.objects.filter(pk__in=gone).update(state=Slip.State.AMENDED, settled_at=timezone.now())
    doubted = {(s.installation_id, s.at) for s in made}
    for pk, day in looked:
        stands = Standing.IN_DOUBT if (pk, at[pk, day]) in doubted else Standing.GOOD
        noon = DayRecord.objects.filter(installation_id=pk, day=day)
        noon.filter(noon_standing__in=(Standing.GOOD, Standing.IN_DOUBT)).update(noon_standing=stands)
    return len(made)
