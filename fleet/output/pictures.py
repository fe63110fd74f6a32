"""What pages draw of expected and measured water, and the figures behind."""

from datetime import timedelta

from django.utils.translation import gettext as _

from fleet.output.models import Evaluation
from fleet.web import charts

SHOWN_DAYS = 120


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
    """The picture of a shortfall's evidence: from two months before it began to its last day."""
    newest = (
        Evaluation.objects.filter(installation_id=shortfall.installation_id)
        .order_by("-day")
        .values_list("day", flat=True)
        .first()
    )
    last = shortfall.closed_on or newest or shortfall.flagged_on
    first = max(shortfall.since - timedelta(days=60), last - timedelta(days=400))
    events = [(shortfall.since, _("since about")), (shortfall.flagged_on, _("flagged"))]
    if shortfall.closed_on:
        events.append((shortfall.closed_on, _("closed")))
    return evidence_chart(shortfall.installation_id, first, last, events)


def spot_waterfall(answer):
    """From the flow that is right by the record to what was measured, and on to what the meter makes of it; None where
    nothing can be said."""
    found = answer.get("waterfall")
    if not found:
        return None
    losses = [(step["name"], -step["loss_l_min"]) for step in found["steps"]]
    start, end = found["start"], found["end"]
    meter = found.get("meter") or {}
    if meter.get("end"):
        losses.append((meter["name"], -meter["loss_l_min"]))
        end = meter["end"]
    steps = [(start["name"], start["l_min"]), *losses, (end["name"], end["l_min"])]
    return charts.waterfall(steps, title=_("Where the water is lost"), unit="L/min", decimals=1)
