"""What pages draw of expected and measured water, and the figures behind."""

from datetime import date, timedelta

from django.utils.translation import gettext as _

from fleet.output.models import Evaluation
from fleet.registry import hiding
from fleet.web import charts, quantities, typed_units

TESTS_DRAWN = 2  # as upright lines, the newest; more would hide the days


def water_by_day(installation_id, first, last):
    """Rows for `charts.expected_and_measured`, in cubic metres, a row each day (gaps where nothing was reported)."""
    known = {
        row[0]: row[1:]
        for row in Evaluation.objects.filter(installation_id=installation_id)
        .between(first, last)
        .values_list("day", "low_l", "expected_l", "high_l", "measured_l")
    }
    rows = []
    for n in range((last - first).days + 1):
        day = first + timedelta(days=n)
        low, middle, high, measured = (None if v is None else v / 1000 for v in known.get(day, (None,) * 4))
        rows.append({"day": day, "low": low, "middle": middle, "high": high, "measured": measured})
    return rows


def evidence_chart(installation_id, first, last, events=()):
    """Measured against the expected band, with upright lines at `events` (date, word)."""
    return charts.expected_and_measured(
        water_by_day(installation_id, first, last), title=_("Water a day"), unit="m³", events=events
    )


def of_shortfall(shortfall):
    """The picture of a shortfall's evidence: from two months before it began to its last day; None where nothing but
    spot tests is known of the unit."""
    newest = (
        Evaluation.objects.filter(installation_id=shortfall.installation_id)
        .order_by("-day")
        .values_list("day", flat=True)
        .first()
    )
    tests = tests_of(shortfall)
    if newest is None and tests:
        return None
    last = shortfall.closed_on or newest or shortfall.flagged_on
    first = max(shortfall.since - timedelta(days=60), last - timedelta(days=400))
    events = [(shortfall.since, _("since about")), (shortfall.flagged_on, _("flagged"))]
    if shortfall.closed_on:
        events.append((shortfall.closed_on, _("closed")))
    shown = [test for test in tests if first <= test["day"] <= last][-TESTS_DRAWN:]
    events += [(test["day"], _("test %(share)s") % {"share": quantities.percent(test["share"])}) for test in shown]
    return evidence_chart(shortfall.installation_id, first, last, events)


def tests_of(shortfall):
    """The spot tests that counted for it: [{day, flow, low, high, bucket, share of the middle of what was right}]."""
    found = []
    for test in shortfall.evidence.get("tests", ()):
        middle = max(test["low"] * test["high"], 1e-6) ** 0.5
        found.append(test | {"day": date.fromisoformat(test["day"]), "share": test["flow"] / middle})
    return found


def spot_waterfall(answer, person=None):
    """From the flow that is right by the record to what was measured, and on to what the meter makes of it; None where
    nothing can be said. In the unit of flow that the person likes."""
    found = answer.get("waterfall")
    if not found:
        return None
    losses = [(step["name"], -step["loss_l_min"]) for step in found["steps"]]
    start, end = found["start"], found["end"]
    meter = found.get("meter") or {}
    if meter.get("end"):
        losses.append((meter["name"], -meter["loss_l_min"]))
        end = meter["end"]
    unit, size = typed_units.liked("L/min", person)
    steps = [(start["name"], start["l_min"]), *losses, (end["name"], end["l_min"])]
    steps = [(name, l_min / size) for name, l_min in steps]
    return charts.waterfall(steps, title=_("Where the water is lost"), unit=unit, decimals=1 if unit == "L/min" else 2)


def of_hours(hours):
    """What the working page says of a day hour by hour: {"hours_words": words by name, "hours_chart": the flow}."""
    shares = (hours.morning_share, None if hours.morning_share is None else 1 - hours.morning_share)
    morning, afternoon = (quantities.NONE if share is None else quantities.percent(share) for share in shares)
    waits = hours.first_water_min
    words = {
        "from_to": f"{_clock(hours.start_h)} – {_clock(hours.stop_h)}",
        "morning": morning,
        "afternoon": _("after noon %(share)s") % {"share": afternoon},
        "first_water": _("never") if waits == float("inf") else f"{quantities.number(waits, 1)} min",
        "full": quantities.number(hours.full_h, 1),
        "dry": quantities.number(hours.dry_h, 1),
        "short": _("%(litres)s of the draw found no water") % {"litres": quantities.litres(hours.short_l)}
        if hours.short_l >= 1 else "",
    }  # fmt: skip
    shown = [(h + 0.5, flow) for h, flow in enumerate(hours.flow_l_min) if 5 <= h < 19]
    series = [{"x": at, "y": flow} for at, flow in [(5.0, shown[0][1]), *shown, (19.0, shown[-1][1])]]
    chart = charts.lines(
        series, title=_("Flow by hour"), x_title=_("sun time, h"), y_title=_("L/min"), decimals=1, height=200
    )
    return {"hours_words": words, "hours_chart": chart}


def of_course(course, person=None):
    """The drawing of a services.DayCourse, and words on the days it is of."""
    unit, size = ("A", 1.0) if course.by_current else typed_units.liked("L/min", person)
    since, before = _("measured since"), _("measured before")
    styles = {_("expected"): "expected", since: "measured-line", before: "earlier"}
    rows = [
        {"x": hour, "y": value / size, "series": word}
        for word, values in zip(styles, (course.due, course.since, course.before), strict=True) if values is not None
        for hour, value in zip(course.hours, values, strict=True)
    ]  # fmt: skip
    chart = charts.lines(
        rows, title=_("The day's course"), x_title=_("sun time, h"), y_title=unit, decimals=1 if size == 1 else 2,
        styles=styles,
    )  # fmt: skip
    words = _("Measured since: the middle of the %(n)d clearest days since it began.") % {"n": course.since_days}
    if course.before is not None:
        words += " " + _("Before: the middle of the %(n)d clearest days of the two months until then.") % {
            "n": course.before_days
        }
    return chart, words


def _clock(hour):
    return quantities.NONE if hour is None else hiding.hour_words(hour)
