"""The demo's past of visits, and what is on the table today: calls, planned visits, proposed inspections."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from fleet.desk.demo.build import ZONE
from fleet.desk.demo.record import one_test
from fleet.output.models import Shortfall
from fleet.visits import services
from fleet.visits.models import Call, Finding, InspectionRule, PartType, PartUse, Procedure, Visit, VisitSpotTest
from sizing import chain

# cause put in -> (cause as found, item, how it shows, mechanism, action, words, part or None)
FOUND = {
    "pipe_leak": ("main_leaks", "main", "less_water", "leaking", "repaired",
                  "Water heard falling back in the pipe. Pulled; a joint 12 m down had worked loose. New insert.",
                  "fittings"),
    "stopped": ("stands_still", "box", "no_water", "burnt", "replaced",
                "Full voltage at the array, none behind the box after the storm. Box changed.", "controller"),
    "intake_blocked": ("inlet_blocked", "pump", "less_water", "blocked", "cleaned",
                       "Strainer full of rust flakes and sand. Cleaned, pump hung one metre higher.", "strainer"),
    "soiling": ("dirt", "modules", "less_water", "covered", "cleaned",
                "Red dust on all modules. Washed early; current up by a fifth. Showed the caretaker again.",
                "wash_kit"),
    "string_open": ("string_open", "strings", "less_water", "corroded", "remade",
                    "One string dead: connector pair green inside. Both connectors made anew.", "connectors"),
    "pump_wear": ("pump_worn", "pump", "worn", "worn", "replaced",
                  "Insulation good, volts and amps right, flow a quarter low at the same level. Pump end changed.",
                  "pump"),
    "controller_cutout": ("cuts_out", "box", "stops_at_noon", "misset", "adjusted",
                          "Power stuck at a ceiling. Box stood in the sun; moved into the shade, limit reset.", None),
    "shade_afternoon": ("shade_after_noon", "modules", "less_water", "covered", "cut_back",
                        "Acacia west of the frame shades two modules from two o'clock. Cut back with consent.", "saw"),
    "meter_stopped": ("meter_stands", "meter", "wrong_reading", "blocked", "replaced",
                      "Bucket gives what it should; meter stands. Sand in the strainer, meter changed.", "meter"),
}  # fmt: skip


def _at(day, hour):
    return datetime(day.year, day.month, day.day, int(hour), int(hour % 1 * 60), tzinfo=ZoneInfo(ZONE))


def inspections(organisation, installations, people, last_day):
    """Half-yearly inspections of the last two years, most of them in time, all closed."""
    rng = np.random.default_rng(61)
    rule, _ = InspectionRule.objects.get_or_create(
        organisation=organisation, basis="months", defaults={"name": "Every six months", "amount": 6}
    )
    procedure = Procedure.objects.filter(organisation=organisation, kind="inspection", in_use=True).first()
    made = []
    for installation in installations:
        due = last_day - timedelta(days=int(rng.integers(560, 700)))
        while due < last_day - timedelta(days=20):
            if due > installation.commissioned_on + timedelta(days=30):
                late = int(rng.choice([-9, -4, -1, 0, 6, 16], p=[0.2, 0.25, 0.2, 0.15, 0.12, 0.08]))
                went = due + timedelta(days=late)
                arrived = _at(went, float(rng.uniform(8.5, 13)))
                made.append(Visit(
                    organisation=organisation, site=installation.well.site, installation=installation,
                    kind="inspection", why="Every six months", procedure=procedure, state="closed",
                    due_on=due, planned_on=went, technician=people[str(rng.choice(["idris", "selma"]))],
                    arrived_at=arrived, left_at=arrived + timedelta(minutes=int(rng.integers(50, 150))),
                    km=round(float(rng.uniform(18, 140))), outcome="in_order",
                    closed_at=arrived + timedelta(days=1), closed_by=people["nadia"],
                    caretaker_words=str(rng.choice(["Water every day.", "Good, but the tank is empty by evening.",
                                                    "Nothing to report.", "Queue is long in the hot months."])),
                ))  # fmt: skip
            due += timedelta(days=int(rng.integers(172, 192)))
    Visit.objects.bulk_create(made)
    return rule


def repairs(organisation, installations, fleet, lives, people, last_day):
    """One repair for each fault that was put right, with its finding, its part and its after-test."""
    rng = np.random.default_rng(62)
    parts = {part.code: part for part in PartType.objects.filter(organisation=organisation)}
    procedure = Procedure.objects.filter(organisation=organisation, kind="repair", in_use=True).first()
    for k, (installation, life) in enumerate(zip(installations, lives)):
        episode = life.episode
        if episode is None or episode.ended is None:
            continue
        day = last_day - timedelta(days=episode.ended)
        arrived = _at(day, 9.5)
        cause, item, mode, mechanism, action, words, part = FOUND[episode.cause]
        visit = Visit.objects.create(
            organisation=organisation, site=installation.well.site, installation=installation, kind="repair",
            why="Gives less than it should", procedure=procedure, state="closed", due_on=day, planned_on=day,
            technician=people["idris" if k % 2 else "selma"], arrived_at=arrived,
            left_at=arrived + timedelta(hours=3, minutes=20), km=round(float(rng.uniform(30, 160))),
            outcome="restored", closed_at=arrived + timedelta(hours=26), closed_by=people["nadia"],
        )  # fmt: skip
        finding = Finding.objects.create(
            visit=visit, item=item, failure_mode=mode, mechanism=mechanism, cause=cause,
            detection="figures" if episode.cause != "stopped" else "call", action=action, words=words,
            noted_by=visit.technician, noted_at=arrived + timedelta(hours=2),
        )  # fmt: skip
        services.teach(finding, visit.closed_by)  # as closing the visit does
        if part in parts:
            PartUse.objects.create(visit=visit, part_type=parts[part], was_aboard=bool(rng.random() < 0.75))
        sun = 820.0
        answer = chain.spot(fleet.take([k]), np.array([sun]), np.array([27.0]))
        if float(answer.flow_l_min[0]) > 0.2:
            flow = float(answer.flow_l_min[0]) * installation.demo_health
            at = arrived + timedelta(hours=3)
            test = one_test(rng, installation, at, "after_work", sun, flow, answer, 0, visit.technician)
            test.save()
            VisitSpotTest.objects.create(visit=visit, spot_test=test)


def tie_to_shortfalls(organisation):
    """Names, for each past repair, the shortfall that it ended, as closing the visit would have done."""
    visits = Visit.objects.filter(
        organisation=organisation, kind="repair", state="closed", shortfall=None
    ).select_related("installation")
    for visit in visits:
        day = visit.arrived_at.date()
        short = (
            Shortfall.objects.filter(installation=visit.installation, state="closed", since__lte=day)
            .filter(closed_on__gte=day - timedelta(days=2), flagged_on__lte=day)
            .order_by("-closed_on")
            .first()
        )
        if short:
            Visit.objects.filter(pk=visit.pk).update(shortfall=short)
            Shortfall.objects.filter(pk=short.pk).update(
                ending="repaired", closed_on=max(day, short.since),
                explained=visit.findings.first().words[:300],
            )  # fmt: skip


def today(organisation, installations, people, first_free_day: date):
    """What lies on the table this morning: a technician's day, tomorrow's, a call, a few proposals."""
    worst = list(
        Shortfall.objects.filter(installation__organisation=organisation, state="open")
        .select_related("installation__well__site").order_by("-weight", "id")[:6]
    )  # fmt: skip
    for ahead, short in enumerate(worst[1:4]):
        visit = services.propose_for_shortfall(shortfall=short, by=people["nadia"])
        on = first_free_day + timedelta(days=ahead)
        services.assign(visit=visit, technician=people["idris"], on=on, by=people["nadia"])
    busy = {short.installation_id for short in worst}
    due = sorted(
        (one for one in installations if one.pk not in busy and one.next_inspection_on),
        key=lambda one: (one.next_inspection_on, one.pk),
    )
    # What is due near the first repair goes on the same trip; the rest is the colleague's.
    where = worst[1].installation if len(worst) > 1 else due[0]
    near = sorted(due[:30], key=lambda one: (_far(one, where), one.pk))[:2]
    rest = [one for one in due if one not in near][:3]
    for place, installation in enumerate(near + rest):
        visit = services.propose(
            kind="inspection", installation=installation, why="Every six months",
            due_on=installation.next_inspection_on, by=people["nadia"],
        )  # fmt: skip
        if place < 4:
            who, day = (people["idris"], 0) if place < 2 else (people["selma"], place - 2)
            on = first_free_day + timedelta(days=day)
            services.assign(visit=visit, technician=who, on=on, by=people["nadia"])
    silent = [one for one in installations if one.pk not in busy][:2]
    for hours, installation, words in zip(
        (3, 20), silent,
        ("Only a thin stream since yesterday, and the pump hums louder than before.",
         "The fence is down on one side and goats stand on the lower modules."),
    ):  # fmt: skip
        Call.objects.create(
            organisation=organisation, site=installation.well.site,
            at=_at(first_free_day, 7.5) - timedelta(hours=hours), caller=installation.well.site.caretaker_name,
            phone=installation.well.site.caretaker_phone, words=words, taken_by=people["nadia"],
        )  # fmt: skip


def _far(one, other):
    """Roughly how far apart two installations are, in degrees: enough to say what is near."""
    a, b = one.well.site, other.well.site
    return abs(a.latitude_deg - b.latitude_deg) + abs(a.longitude_deg - b.longitude_deg)


def settle_old_slips(organisation, people, last_day):
    """Figures in doubt of earlier months were settled long ago; those of the last two months still wait."""
    from fleet.readings.models import Slip
    from fleet.readings.services import settle

    limit = _at(last_day - timedelta(days=60), 0)
    for slip in Slip.objects.filter(installation__organisation=organisation, state="open", at__lt=limit):
        if Slip.objects.waiting().filter(pk=slip.pk).exists():  # else settled together with another
            settle(slip=slip, how="as_suggested" if slip.suggested is not None else "aside", by=people["nadia"])


