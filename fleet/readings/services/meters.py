"""Keeping the meter's figure, one at a time or many."""

from datetime import datetime, time, timedelta

import numpy as np
from django.db import connection, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.readings import arrivals, staging
from fleet.readings.models import MeterReading, Slip, Standing
from fleet.readings.services.clock import local_day, zone_of
from fleet.readings.services.days import Kept
from fleet.readings.services.spot import _hung, _own
from fleet.web.refusals import Refused

ROLLOVER_SHARE = 0.8  # a counter that starts again had come at least so far, as a share of its full round


@transaction.atomic
def keep_meter_reading(
    *, installation, total_l, at=None, day=None, new_meter=False, tank_full_seen=None, as_written=False, by=None
):
    """Keep the meter's total. `at` a moment, or `day` where nobody wrote the hour down (kept at the site's noon).

    A total below the one before is kept too, but asks: a counter that has run round is recognised where its full round
    is known; else the figure is marked for a person, unless it is a `new_meter` or was looked at twice (`as_written`).
    It asks once: what goes on from a total that was asked about waits for no other answer.
    """
    if by is not None:
        require(by, "log")
        _own(installation, by)
    hour_known = at is not None
    if at is None:
        if day is None:
            raise Refused("no_time", _("Give the day, and the hour if you know it."), field="at")
        at = datetime.combine(day, time(12), tzinfo=zone_of(installation))
    if at > timezone.now() + timedelta(minutes=10):
        raise Refused("time_to_come", _("This time has not come yet. Check day and hour."), field="at")
    _hung(installation, at)
    if total_l < 0 or total_l > 1e10:
        raise Refused("out_of_range", _("The meter's total in litres, zero or more, please."), field="total_l")
    same = MeterReading.objects.filter(installation=installation, at=at).first()
    if same is not None:
        if same.total_l == total_l:
            return same
        raise Refused(
            "already_there",
            _("For this moment %(total)s L are kept already. Change the time, or settle that figure first.")
            % {"total": f"{same.total_l:,.0f}"},
            field="total_l",
        )
    before = MeterReading.objects.of(installation).used().before(at).order_by("-at").first()
    reading = MeterReading(
        installation=installation, at=at, hour_known=hour_known, total_l=total_l, new_meter=new_meter,
        tank_full_seen=tank_full_seen, taken_by=by, source="typed",
    )  # fmt: skip
    backwards = before is not None and total_l < before.total_l and not new_meter
    if backwards and went_round(total_l, before.total_l, installation.meter_rollover_l):
        reading.rolled_over, backwards = True, False
    asks = backwards and not as_written and not _asked_already(reading, before)
    if asks:
        reading.standing = Standing.IN_DOUBT
    reading.save()
    if asks:
        Slip.objects.create(
            installation=installation, subject=Slip.Subject.METER, meter_reading=reading, at=at, field="total_l",
            found=total_l, kind=Slip.Kind.BACKWARDS,
            facts={"before_l": before.total_l, "before_on": local_day(installation, before.at).isoformat()},
        )  # fmt: skip
    arrivals.note_day(installation.pk, local_day(installation, at))
    return reading


def went_round(total_l, before_l, round_l):
    """Whether a counter of this full round (None: not known) has started again between two totals."""
    return bool(round_l) and total_l < before_l and before_l > ROLLOVER_SHARE * round_l


def _asked_already(reading, before):
    """Whether a total less than `before` goes on from one that waits for a person for being less too."""
    doubted = MeterReading.objects.of(reading.installation).in_doubt().before(reading.at).filter(
        at__gt=before.at, total_l__lt=before.total_l
    ).order_by("-at").first()  # fmt: skip
    return doubted is not None and reading.total_l >= doubted.total_l


def keep_meter_readings(*, installations, epoch_s, days, totals, tank_full=None, hour_known=None, source=""):
    """Many readings at once. Returns `Kept`.

    installations (n,) ids; epoch_s (n,) seconds since 1970 UTC; days (n,) the sites' local days; totals (n,) litres;
    tank_full (n,) 1, 0 or -1 where nobody ticked; hour_known (n,) bool. A reading that stands there keeps a person's
    correction; of two figures for one moment in one intake the later line counts.
    """
    installations = np.asarray(installations, dtype=np.int64)
    count = len(installations)
    if not count:
        return Kept()
    order = np.lexsort((np.arange(count), epoch_s, installations))
    last = np.ones(count, dtype=bool)
    epoch = np.asarray(epoch_s, dtype=float)[order]
    ids = installations[order]
    last[:-1] = (ids[1:] != ids[:-1]) | (epoch[1:] != epoch[:-1])
    pick = order[last]
    tank_full = np.full(count, -1) if tank_full is None else np.asarray(tank_full)
    hour_known = np.ones(count) if hour_known is None else np.asarray(hour_known)
    staged = {
        "installation_id": ("bigint", installations[pick]),
        "epoch": ("float8", np.asarray(epoch_s, dtype=float)[pick]),
        "day": ("date", np.asarray(days)[pick]),
        "total_l": ("float8", np.asarray(totals, dtype=float)[pick]),
        "tank_full": ("bool", tank_full[pick].astype(np.int8)),
        "hour_known": ("bool", hour_known[pick].astype(np.int8)),
    }
    with transaction.atomic(), connection.cursor() as cursor:
        staging.stage(cursor, "came_meter", staged)
        # each row that is kept looks for its own day here: without this the work grows with the square of the rows
        cursor.execute("CREATE INDEX ON came_meter (installation_id, to_timestamp(epoch))")
        new = arrivals.note(
            cursor,
            "INSERT INTO readings_meterreading (installation_id, at, hour_known, total_l, new_meter, rolled_over, "
            "tank_full_seen, standing, written_serial, source, kept_at) "
            "SELECT installation_id, to_timestamp(epoch), hour_known, total_l, false, false, tank_full, 0, '', %s, "
            "now() "
            "FROM came_meter ON CONFLICT (installation_id, at) DO NOTHING "
            "RETURNING installation_id, (SELECT c.day FROM came_meter c WHERE c.installation_id = "
            "readings_meterreading.installation_id AND to_timestamp(c.epoch) = readings_meterreading.at)",
            [source[:60]],
        )
        changed = 0
        if new < len(pick):
            changed = arrivals.note(
                cursor,
                "UPDATE readings_meterreading t SET total_l = c.total_l, standing = 0, rolled_over = false, "
                "tank_full_seen = coalesce(c.tank_full, t.tank_full_seen) FROM came_meter c "
                "WHERE t.installation_id = c.installation_id AND t.at = to_timestamp(c.epoch) "
                "AND t.standing NOT IN (2, 3) AND (t.total_l <> c.total_l "
                "OR t.tank_full_seen IS DISTINCT FROM coalesce(c.tank_full, t.tank_full_seen)) "
                "RETURNING t.installation_id, c.day",
            )
        if new + changed:
            _mark_rounds(cursor)
        cursor.execute(
            "UPDATE readings_slip s SET state = 'amended', settled_at = now() FROM readings_meterreading m "
            "JOIN came_meter c ON m.installation_id = c.installation_id AND m.at = to_timestamp(c.epoch) "
            "WHERE s.meter_reading_id = m.id AND s.state = 'open' AND s.found <> m.total_l AND m.standing = 0"
        )
    return Kept(new=new, changed=changed, same=len(pick) - new - changed)


def _mark_rounds(cursor):
    """As `went_round` of one figure: those that came, and those which now follow one that came.

    One pass over the totals of these installations, from the last one before the earliest that came: looked up total
    by total, a long history would cost its square.
    """
    cursor.execute(
        "WITH came AS (SELECT c.installation_id, min(to_timestamp(c.epoch)) AS first, i.meter_rollover_l AS round_l "
        "FROM came_meter c JOIN registry_installation i ON i.id = c.installation_id AND i.meter_rollover_l > 0 "
        "GROUP BY c.installation_id, i.meter_rollover_l), "
        "since AS (SELECT came.*, coalesce((SELECT max(p.at) FROM readings_meterreading p WHERE p.installation_id = "
        "came.installation_id AND p.at < came.first AND p.standing IN (0, 2)), came.first) AS start FROM came) "
        "UPDATE readings_meterreading t SET rolled_over = x.went FROM ("
        "SELECT m.id, m.standing, m.new_meter, "
        "m.total_l < lag(m.total_l) OVER w AND lag(m.total_l) OVER w > %s * s.round_l AS went "
        "FROM since s JOIN readings_meterreading m ON m.installation_id = s.installation_id AND m.at >= s.start "
        "AND m.standing IN (0, 2) WINDOW w AS (PARTITION BY m.installation_id ORDER BY m.at)) x "
        "WHERE t.id = x.id AND x.standing = 0 AND NOT x.new_meter AND t.rolled_over <> x.went",
        [ROLLOVER_SHARE],
    )
