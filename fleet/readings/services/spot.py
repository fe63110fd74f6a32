"""Keeping a spot test."""

from datetime import timedelta
from statistics import median

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.readings import arrivals
from fleet.readings.models import Slip, SpotTest, Standing
from fleet.readings.services.clock import local_day
from fleet.registry.models import Installation
from fleet.web.refusals import Refused

# What a small solar pump can show at all; beyond it the figure is in another unit or a slip of the pen.
LIMITS = {
    "irradiance_w_m2": (0, 1600, _("W/m²")),
    "module_isc_a": (0, 30, _("A")),
    "cell_c": (-20, 110, _("°C")),
    "air_c": (-20, 60, _("°C")),
    "array_voltage_v": (0, 1000, _("V")),
    "array_current_a": (0, 200, _("A")),
    "output_voltage_v": (0, 1000, _("V")),
    "output_current_a": (0, 200, _("A")),
    "flow_l_min": (0, 2000, _("L/min")),
    "meter_flow_l_min": (0, 2000, _("L/min")),
    "static_level_m": (-5, 500, _("m")),
    "pumping_level_m": (-5, 500, _("m")),
    "first_water_min": (0, 600, _("min")),
    "watched_min": (0, 600, _("min")),
    "insulation_mohm": (0, 1e6, _("MΩ")),
    "loop_ohm": (0, 1000, _("Ω")),
}
READINGS = tuple(LIMITS)


def flow_of(repeats):
    """Flow, L/min, of bucket fills: the median, so that one clumsy fill does not count. None without a whole fill."""
    flows = [60 * r["litres"] / r["seconds"] for r in repeats if r.get("litres") is not None and r.get("seconds")]
    return median(flows) if flows else None


def without_water(readings):
    """The readings, with a flow of nought where no water came: told by `no_water`, by the minutes that somebody watched
    (`watched_min`), or by fills that all stayed empty, whose seconds are what was watched.

    Refuses: no water beside water; no word of how long it was watched, for a rising main takes its time to fill.
    """
    readings = dict(readings)
    told, watched = readings.pop("no_water", None), readings.get("watched_min")
    fills = readings.get("repeats") or []
    if fills and not any(fill["litres"] for fill in fills):
        told, watched = told is not False, watched or sum(fill["seconds"] for fill in fills) / 60
    if not told and watched is None:
        return readings
    if told is False or readings.get("flow_l_min") or any(fill["litres"] for fill in fills):
        raise Refused(
            "water_came", _("Either water came or none did: take out the flow and the fills, or the minutes watched "
                            "without water."), field="no_water",
        )  # fmt: skip
    if not watched or watched < 0:
        raise Refused(
            "not_watched", _("No water came: say how many minutes it was watched, from switching on."),
            field="watched_min",
        )  # fmt: skip
    by_meter = readings.get("flow_by") == SpotTest.FlowBy.METER
    return readings | {
        "flow_l_min": 0.0, "repeats": [], "watched_min": watched,
        "flow_by": SpotTest.FlowBy.METER if by_meter else SpotTest.FlowBy.BUCKET,
    }  # fmt: skip


def check_limits(values):
    """Refuse the first figure that no small solar pump can show."""
    for name, (low, high, unit) in LIMITS.items():
        value = values.get(name)
        if value is not None and not low <= value <= high:
            raise Refused(
                "out_of_range",
                _("Between %(low)g and %(high)g %(unit)s, please; %(value)g stands here.")
                % {"low": low, "high": high, "unit": unit, "value": value},
                field=name,
            )


def keep_spot_test(*, installation, at, kind, by=None, key=None, looked=False, **readings):
    """Keep one set of readings. The same key (made where it was typed) kept twice is one test; `looked`: slips were
    asked about there already.

    `repeats` [{litres, seconds}] give the flow where `flow_l_min` is not stated; where no water came, see
    `without_water`. Refuses: a time to come, a time when
    the unit did not hang there, figures that no small pump can show, a second test of that kind at the same minute.
    Returns the test and whether it is new.
    """
    if by is not None:
        require(by, "log")
        _own(installation, by)
    if key is not None:
        already = SpotTest.objects.filter(key=key).first()
        if already is not None:
            return already, False
    if at > timezone.now() + timedelta(minutes=10):
        raise Refused("time_to_come", _("This time has not come yet. Check day and hour."), field="at")
    _hung(installation, at)
    repeats = readings.get("repeats") or []
    for repeat in repeats:
        litres, seconds = repeat.get("litres"), repeat.get("seconds") or 0
        if litres is None or litres < 0 or seconds <= 0:
            sentence = _("Each fill needs litres, 0 where none came, and seconds above zero.")
            raise Refused("fill_incomplete", sentence, field="repeats")
    readings = without_water(readings)
    repeats = readings.get("repeats") or []
    if readings.get("flow_l_min") is None:
        readings["flow_l_min"] = flow_of(repeats)
    check_limits(readings)
    try:
        with transaction.atomic():
            test = SpotTest.objects.create(
                installation=installation, at=at, kind=kind, taken_by=by, looked=looked,
                **({"key": key} if key else {}), **readings,
            )  # fmt: skip
            arrivals.note_day(installation.pk, local_day(installation, at))
    except IntegrityError:
        already = SpotTest.objects.filter(key=key).first() if key else None
        if already is not None:
            return already, False
        raise Refused(
            "already_there", _("A spot test of this kind is kept for this minute already. Change the time."), field="at"
        ) from None
    return test, True


@transaction.atomic
def let_spot_test_count(*, key, counts):
    """Whether a spot test counts, where the person who took it corrected it themselves. What is asked about its figures
    is settled with it, and asked again if it counts after all; a person's settling stays."""
    test = SpotTest.objects.filter(key=key).select_related("installation__well__site").first()
    if test is None or test.slips.filter(settled_by__isnull=False).exists():
        return
    left = test.slips.filter(state=Slip.State.OPEN if not counts else Slip.State.ASIDE)
    asks = left.update(state=Slip.State.ASIDE if not counts else Slip.State.OPEN) or test.slips.waiting().exists()
    wanted = Standing.SET_ASIDE if not counts else Standing.IN_DOUBT if asks else Standing.GOOD
    if test.standing == wanted:
        return
    test.standing = wanted
    test.save(update_fields=["standing"])
    arrivals.note_day(test.installation_id, local_day(test.installation, test.at))


def move_spot_tests(*, keys, installation):
    """Spot tests that were taken on the pump which the register learned of only afterwards go over to it.

    Those from before it hung stay where they are. Returns how many moved.
    """
    tests = SpotTest.objects.filter(key__in=keys, at__gte=installation.period.lower).exclude(installation=installation)
    moved = 0
    for test in tests.select_related("installation__well__site"):
        arrivals.note_day(test.installation_id, local_day(test.installation, test.at))
        test.installation = installation
        test.save(update_fields=["installation"])
        arrivals.note_day(installation.pk, local_day(installation, test.at))
        moved += 1
    return moved


def _own(installation, by):
    if installation.organisation_id != by.organisation_id:
        raise Refused("not_yours", _("This unit belongs to another organisation."))


def _hung(installation, at):
    period = installation.period
    if at < period.lower - timedelta(days=1) or (period.upper is not None and at > period.upper + timedelta(days=1)):
        raise Refused(
            "not_hung_then",
            _("The unit did not hang in this well then. Check the day, or choose the installation of that time."),
            field="at",
        )


def keep_spot_tests(tests):
    """Many checked tests at once, each a dict of fields with installation_id and at.

    Returns what became of each: "new", "changed" or "same". A test is known by installation, time and kind; fields that
    came are put in, the others stay.
    """
    for test in tests:
        test.setdefault("kind", SpotTest.Kind.COMMISSIONING)
        if test.get("flow_l_min") is None:
            test["flow_l_min"] = flow_of(test.get("repeats") or [])
    known = {
        (t.installation_id, t.at, t.kind): t
        for t in SpotTest.objects.filter(
            installation_id__in={t["installation_id"] for t in tests}, at__in={t["at"] for t in tests}
        )
    }
    new, outcomes, noted = [], [], {}
    for test in tests:
        key = (test["installation_id"], test["at"], test["kind"])
        there = known.get(key)
        if there is None:
            known[key] = SpotTest(**{k: v for k, v in test.items() if v is not None})
            new.append(known[key])
            outcomes.append("new")
        else:
            changes = {k: v for k, v in test.items() if v is not None and getattr(there, k) != v}
            if test.get("flow_l_min") and there.watched_min is not None:
                changes["watched_min"] = None  # water came after all
            outcomes.append("changed" if changes and there.pk else "same")
            for name, value in changes.items():
                setattr(there, name, value)
            if changes and there.pk:
                there.looked = False
                there.save(update_fields=[*changes, "looked"])
        if outcomes[-1] != "same":
            first = noted.get(test["installation_id"])
            noted[test["installation_id"]] = min(first or test["at"], test["at"])
    SpotTest.objects.bulk_create(new)
    installations = Installation.objects.select_related("well__site").in_bulk(list(noted))
    for pk in sorted(noted):
        arrivals.note_day(pk, local_day(installations[pk], noted[pk]))
    return outcomes
