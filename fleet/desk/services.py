"""Questions that need every room: what needs attention, a unit's whole life, a technician's day."""

from collections import Counter
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import connection
from django.db.models import Count, Exists, F, OuterRef, Prefetch, Q, Subquery
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.desk import silence
from fleet.output.models import Evaluation, Shortfall
from fleet.people.access import own
from fleet.readings.models import DayRecord, MeterReading, Slip, SpotTest
from fleet.registry.models import Installation, Site, StaticLevel
from fleet.registry.querysets import like
from fleet.visits import services as visit_services
from fleet.visits.models import Call, Finding, Visit
from fleet.web import charts
from fleet.web.refusals import Refused


def attention(person, *, district=None, pump_type=None, state="open", assigned=None, search=""):
    """Open shortfalls of the person's fleet: danger first, then lost litres a day times people served.

    A queryset ordered by (-weight, id), ready to be paged by key.
    """
    rows = (
        own(Shortfall.objects.all(), person, "installation__organisation")
        .filter(state=state)
        .select_related(
            "installation__unit__pump_type", "installation__well__site__district", "installation__organisation"
        )
    )
    if district:
        rows = rows.filter(installation__well__site__district_id=district)
    if pump_type:
        rows = rows.filter(installation__unit__pump_type_id=pump_type)
    if assigned is not None:
        planned = Visit.objects.filter(installation=OuterRef("installation"), state__in=PLANNED)
        rows = rows.annotate(visit_state=Subquery(planned.order_by("planned_on", "id").values("state")[:1]))
        nobody = Q(visit_state__isnull=True) | Q(visit_state="proposed")
        rows = rows.exclude(nobody) if assigned else rows.filter(nobody)
    if search:
        rows = rows.filter(like(search, "installation__well__site__"))
    return rows.order_by("-weight", "id")


PLANNED = ["proposed", "assigned", "under_way", "logged"]  # visits still to be made or closed


def planned_visits(installation_ids):
    """{installation: (key, day, who) of its first planned visit}, in one question for a whole page."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT ON (v.installation_id) v.installation_id, v.key, v.planned_on, p.first_name "
            "FROM visits_visit v LEFT JOIN people_person p ON p.id = v.technician_id "
            "WHERE v.installation_id = ANY(%s) AND v.state = ANY(%s) ORDER BY v.installation_id, v.planned_on, v.id",
            [installation_ids, PLANNED],
        )
        return {installation: visit for installation, *visit in cursor.fetchall()}


# In plain SQL because it is asked with every look at the list: ten questions, each of an index, in one journey. The
# zone is that of most of the first hundred sites; to count all of them took longer than the page. `OFFSET 0` keeps a
# part by itself: the day is worked out once, and each open shortfall looks its own installation up where the planner
# would read all of them.
HEAD = """
    SELECT d.today, s.open, s.danger,
      (SELECT count(*) FROM visits_call WHERE organisation_id = o.id AND state = 'open') AS calls,
      (SELECT count(*) FROM readings_slip f JOIN registry_installation i ON i.id = f.installation_id
       WHERE i.organisation_id = o.id AND f.state = 'open') AS slips,
      (SELECT count(*) FROM visits_visit WHERE organisation_id = o.id AND planned_on = d.today
       AND state IN ('assigned', 'under_way', 'logged')) AS visits_today,
      (SELECT count(*) FROM registry_installation WHERE organisation_id = o.id AND upper_inf(period)
       AND next_inspection_on < d.today) AS overdue_inspections,
      (SELECT json_agg(json_build_array(id, name) ORDER BY name) FROM registry_district WHERE organisation_id = o.id)
       AS districts,
      (SELECT json_agg(json_build_array(id, name) ORDER BY name) FROM registry_pumptype WHERE organisation_id = o.id)
       AS pump_types,
      (SELECT json_agg(json_build_array(id, coalesce(nullif(trim(first_name || ' ' || last_name), ''), username))
       ORDER BY first_name) FROM people_person WHERE organisation_id = o.id AND role = 'technician' AND is_active)
       AS technicians
    FROM people_organisation o
    CROSS JOIN LATERAL (
      SELECT (%(now)s AT TIME ZONE coalesce((
        SELECT zone FROM (SELECT zone FROM registry_site WHERE organisation_id = o.id ORDER BY code LIMIT 100) z
        GROUP BY zone ORDER BY count(*) DESC LIMIT 1), 'UTC'))::date AS today OFFSET 0) d
    CROSS JOIN LATERAL (
      SELECT count(*) AS open, count(*) FILTER (WHERE f.danger >= 1) AS danger FROM output_shortfall f
      CROSS JOIN LATERAL (SELECT organisation_id FROM registry_installation WHERE id = f.installation_id OFFSET 0) i
      WHERE i.organisation_id = o.id AND f.state = 'open') s
    WHERE o.id = %(organisation)s
"""


def head_of_attention(person, now=None):
    """What stands above the attention list: its figures, what can be chosen ((id, name), …), and the day (`today`)
    that it is at most of the organisation's sites."""
    with connection.cursor() as cursor:
        cursor.execute(HEAD, {"now": now or timezone.now(), "organisation": person.organisation_id})
        head = dict(zip([column.name for column in cursor.description], cursor.fetchone(), strict=True))
    return head | {"silent": silence.silent(Installation.objects.visible_to(person), now).count()}


@dataclass
class Moment:
    """One thing in a unit's life. `kind` picks the picture, `title` and `text` are ready to be read."""

    at: datetime
    kind: str
    title: str
    text: str = ""
    link: tuple | None = None
    facts: list = field(default_factory=list)
    whole_day: bool = False  # the hour is not known


def _midday(day, zone):
    return datetime(day.year, day.month, day.day, 12, tzinfo=zone)


def _some_day(day, zone, *told, **more):
    """A Moment of which only the day is known."""
    return Moment(_midday(day, zone), *told, whole_day=True, **more)


def life(unit, *, first=None):
    """Everything that happened to a unit, newest first, wherever it hung. Bulk readings are told by the month."""
    installations = list(
        unit.installations.select_related("well__site__district", "module_type", "pipe", "cable").order_by("period")
    )
    ids = [row.pk for row in installations]
    moments = []
    if unit.tested_on:
        moments.append(_some_day(unit.tested_on, ZoneInfo("UTC"), "test", _("Tested by the maker")))
    zones = {row.pk: ZoneInfo(row.well.site.zone) for row in installations}
    for row in installations:
        place = f"{row.well.site.code} {row.well.site.name}"
        moments.append(Moment(row.period.lower, "hung", _("Hung at %(place)s") % {"place": place},
                              link=("registry:site", row.well.site.code)))  # fmt: skip
        if row.period.upper:
            moments.append(
                Moment(row.period.upper, "taken", _("Taken from %(place)s") % {"place": place}, row.closed_why)
            )
        if row.handed_over_on:
            moments.append(_some_day(row.handed_over_on, zones[row.pk], "hand", _("Handed over")))
    for level in StaticLevel.objects.filter(well__in=[row.well_id for row in installations]):
        moments.append(
            _some_day(level.measured_on, ZoneInfo("UTC"), "level",
                   _("Static level"), facts=[(_("below datum"), level.level_m, "m")])
        )  # fmt: skip
    for test in SpotTest.objects.filter(installation__in=ids).select_related("visit_link__visit"):
        facts = [
            (_("sun"), test.irradiance_w_m2, "W/m²"), (_("flow"), test.flow_l_min, "L/min"),
            (_("voltage"), test.array_voltage_v, "V"), (_("current"), test.array_current_a, "A"),
            (_("pumping level"), test.pumping_level_m, "m"),
        ]  # fmt: skip
        moments.append(
            Moment(test.at, "spot", _("Spot test: %(kind)s") % {"kind": test.get_kind_display()}, test.notes,
                   facts=[fact for fact in facts if fact[1] is not None])
        )  # fmt: skip
    visits = (
        Visit.objects.filter(installation__in=ids)
        .exclude(state__in=["proposed", "cancelled"])
        .select_related("technician", "site")
        .prefetch_related(Prefetch("findings", Finding.objects.all()), "parts__part_type")
    )
    for visit in visits:
        at = visit.arrived_at or (visit.planned_on and _midday(visit.planned_on, zones[visit.installation_id]))
        words = "; ".join(filter(None, [visit.why, *(finding.words for finding in visit.findings.all())]))
        parts = ", ".join(f"{use.quantity} × {use.part_type.name}" for use in visit.parts.all())
        moments.append(
            Moment(at, "visit", f"{visit.get_kind_display().capitalize()}, {visit.get_state_display()}",
                   " ".join(filter(None, [words, _("Parts: %(parts)s.") % {"parts": parts} if parts else ""])),
                   link=("visits:visit", visit.key), whole_day=not visit.arrived_at)
        )  # fmt: skip
    for short in Shortfall.objects.filter(installation__in=ids):
        zone = zones[short.installation_id]
        moments.append(
            _some_day(short.flagged_on, zone, "shortfall",
                   _("Short by %(litres)s L a day, since %(since)s")
                   % {"litres": f"{short.lost_l_day:,.0f}", "since": date_format(short.since, "j M Y")},
                   link=("output:shortfall", short.pk))
        )  # fmt: skip
        if short.closed_on:
            moments.append(
                _some_day(short.closed_on, zone, "ended", _("Shortfall ended: %(how)s")
                       % {"how": short.get_ending_display()}, short.explained, link=("output:shortfall", short.pk))
            )  # fmt: skip
    for slip in Slip.objects.filter(installation__in=ids).exclude(kind="duplicate").select_related("other__unit"):
        moments.append(
            Moment(slip.at, "slip", _("Figure in doubt: %(kind)s") % {"kind": slip.get_kind_display()}, slip.reason,
                   whole_day=slip.subject in {"day", "noon"})
        )  # fmt: skip
    for call in Call.objects.filter(site__in={row.well.site_id for row in installations}):
        moments.append(Moment(call.at, "call", _("Call from %(who)s") % {"who": call.caller or _("the site")},
                              call.words, link=("visits:call", call.pk)))  # fmt: skip
    moments += _meter_months(ids, zones)
    if first:
        moments = [moment for moment in moments if moment.at >= first]
    return sorted((m for m in moments if m.at), key=lambda moment: moment.at, reverse=True), installations


def _meter_months(ids, zones):
    """Meter readings, one line a month."""
    months = {}
    for reading in MeterReading.objects.filter(installation__in=ids).only("installation_id", "at", "total_l"):
        local = reading.at.astimezone(zones[reading.installation_id])
        months.setdefault((reading.installation_id, local.year, local.month), []).append(reading)
    for readings in months.values():
        last = max(readings, key=lambda reading: reading.at)
        yield Moment(
            last.at, "meter",
            ngettext("%(n)d meter reading", "%(n)d meter readings", len(readings)) % {"n": len(readings)},
            _("Last figure %(total)s L") % {"total": f"{last.total_l:,.0f}"},
        )  # fmt: skip


def measured_against_expected(installation, *, days=120, until=None):
    """The judged days of one installation for its picture: rows of day, expected, low, high, measured, idle."""
    until = until or timezone.now().astimezone(ZoneInfo(installation.well.site.zone)).date()
    rows = Evaluation.objects.filter(
        installation=installation, day__gt=until - timedelta(days=days), day__lte=until
    ).order_by("day")
    return list(rows.values("day", "expected_l", "low_l", "high_l", "measured_l", "idle", "sun_by"))


def latest_figures(installation):
    """The last thing that was reported of an installation, whatever it was."""
    meter = installation.meter_readings.order_by("-at").first()
    day = DayRecord.objects.filter(installation=installation).order_by("-day").first()
    spot = installation.spot_tests.order_by("-at").first()
    return {"meter": meter, "day": day, "spot": spot}


def day_of(technician, day):
    """A technician's visits of a day in the order they are driven, and what still waits from earlier days."""
    visits = (
        Visit.objects.filter(technician=technician)
        .select_related(
            "site__district", "installation__unit__pump_type", "installation__well", "shortfall", "call", "procedure"
        )
        .annotate(
            records_made=Count("records", distinct=True),
            has_spot=Exists(SpotTest.objects.filter(visit_link__visit=OuterRef("pk"))),
        )
    )
    today = visits.filter(planned_on=day, state__in=["assigned", "under_way", "logged", "closed"]).order_by(
        F("trip_order").asc(nulls_last=True), "id"
    )
    waiting = visits.filter(planned_on__lt=day, state__in=["assigned", "under_way", "logged"]).order_by("planned_on")
    coming = visits.filter(
        planned_on__gt=day, planned_on__lte=day + timedelta(days=7), state="assigned"
    ).order_by("planned_on", F("trip_order").asc(nulls_last=True))
    return {"today": list(today), "waiting": list(waiting[:20]), "coming": list(coming[:20])}


def parts_for(visits):
    """What to put in the car: parts named by the shortfalls of these visits, each once with how many visits want it."""
    wanted = {}
    for visit in visits:
        for part in visit.shortfall.parts if visit.shortfall else []:
            wanted[part] = wanted.get(part, 0) + 1
    return sorted(wanted.items(), key=lambda item: (-item[1], item[0]))


ASKED_FOR_ZONE = 100  # sites; to count all took longer than the page


def zone_of(person):
    """The zone of most of the organisation's sites, by its first hundred; UTC while there is none."""
    some = Site.objects.filter(organisation=person.organisation_id).order_by("code").values_list("zone", flat=True)
    zones = Counter(some[:ASKED_FOR_ZONE])
    return zones.most_common(1)[0][0] if zones else "UTC"


def send_to(*, shortfalls, technician, day, by):
    """A visit to each shortfall's site for one technician and day. Returns how many, and the refusals' sentences.

    A visit that was already proposed for the shortfall is taken up, so ticking twice does not plan twice.
    """
    planned, refusals = 0, []
    for shortfall in shortfalls:
        try:
            visit = (
                shortfall.visits.filter(state__in=["proposed", "assigned"]).first()
                or visit_services.propose_for_shortfall(shortfall=shortfall, by=by)
            )
            visit_services.assign(visit=visit, technician=technician, on=day, by=by)
            planned += 1
        except Refused as refusal:
            refusals.append(f"{shortfall.installation.well.site}: {refusal}")
    return planned, refusals


def band_chart(days):
    """The picture of measured against expected, from the judged days."""
    rows = [
        {
            "day": row["day"], "low": row["low_l"], "middle": row["expected_l"], "high": row["high_l"],
            "measured": row["measured_l"],
        }
        for row in days
    ]  # fmt: skip
    return charts.expected_and_measured(rows, title=_("Water a day"), unit=_("L a day"), decimals=0)


def map_list(person):
    """Hanging installations with their state, worst first, as the list beside the map shows them."""
    open_one = Shortfall.objects.filter(installation=OuterRef("pk"), state="open")
    rows = (
        Installation.objects.visible_to(person)
        .hanging()
        .select_related("unit__pump_type", "well__site__district")
        .annotate(
            short_id=Subquery(open_one.values("id")[:1]),
            lost=Subquery(open_one.values("lost_l_day")[:1]),
            danger=Subquery(open_one.values("danger")[:1]),
            judged_through=F("judgement__through"),
            why_not_judged=F("judgement__trouble"),
            why_not_computed=F("baseline__trouble"),
        )
    )
    return silence.with_heard(rows).order_by(
        F("danger").desc(nulls_last=True), F("lost").desc(nulls_last=True), "id"
    )  # fmt: skip


def state_of(row):
    """A hanging installation's state as a tone of the look and a word. Nothing is as expected of which nothing is
    known: that it was judged through yesterday only says that the nights went by."""
    if row.danger:
        return "danger", _("danger")
    if row.short_id:
        return "bad", _("falls short")
    if row.why_not_computed or row.why_not_judged:
        return "unsure", _("cannot be computed")
    heard = silence.heard(row)
    if heard.last is None:
        return "unsure", _("nothing reported yet")
    if heard.silent:
        return "watch", heard.words
    if row.judged_through is None:
        return "unsure", _("not judged yet")
    return "good", _("as expected")


def silence_beside(row):
    """What to say of its silence beside a state that does not say it, or nothing: that it falls short was told by
    figures that have ended since."""
    return silence.heard(row).words if row.danger or row.short_id else ""


def state_now(person, installation_id):
    """The state of one hanging installation for its page: (tone, word, what to say of its silence besides, why it
    cannot be computed); None where it hangs no more."""
    row = map_list(person).filter(pk=installation_id).first()
    if row is None:
        return None
    return *state_of(row), silence_beside(row), row.why_not_computed or row.why_not_judged or ""


def silence_words(installation_ids):
    """{installation: words} of those that are silent, in one question for a whole page."""
    rows = silence.with_heard(Installation.objects.hanging().filter(pk__in=installation_ids))
    found = {row.pk: silence.heard(row).words for row in rows.only("period", "instrument_level")}
    return {pk: words for pk, words in found.items() if words}


def silent_list(person, *, district=None, search=""):
    """Hanging installations that should have reported since they last did; most people served first.

    A queryset ordered by (-people served, id), ready to be paged by key; `state_of` and `silence.heard` read its rows.
    """
    rows = silence.silent(map_list(person))
    if district:
        rows = rows.filter(well__site__district_id=district)
    if search:
        rows = rows.filter(like(search, "well__site__"))
    return rows.order_by("-well__site__people_served", "id")


def map_features(person):
    """All places as a GeoJSON collection (RFC 7946: longitude first)."""
    features = []
    for row in map_list(person):
        tone, word = state_of(row)
        site = row.well.site
        short = _("%(litres)s L a day short, %(people)s people") % {
            "litres": f"{row.lost:,.0f}", "people": f"{site.people_served:,}"} if row.lost else ""  # fmt: skip
        features.append({
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [site.longitude_deg, site.latitude_deg]},
            "properties": {
                "name": f"{site.name} ({site.code})", "tone": tone, "state": word, "address": f"/units/{row.unit_id}/",
                "note": ", ".join(filter(None, [short, silence_beside(row)])),
                "serial": row.unit.serial, "lost_l_day": round(row.lost) if row.lost else None,
            },
        })  # fmt: skip
    return {"type": "FeatureCollection", "features": features}
