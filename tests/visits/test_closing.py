"""What closing a visit does to the shortfall, the next inspection and the follow-up; when inspections fall due."""

from datetime import UTC, date, datetime, timedelta
from importlib import import_module

import numpy as np
import pytest
from django.db import connection
from django.utils import timezone

from fleet.output import services as output
from fleet.output.models import CauseCount, Evaluation, FindingHeard, Shortfall
from fleet.readings.models import DayRecord
from fleet.readings.partitions import make_for
from fleet.visits import services
from fleet.visits.cause_names import TEACHES
from fleet.visits.models import FieldPiece, InspectionRule, Visit
from fleet.visits.services import downward
from fleet.visits.tasks import sweep
from fleet.web.refusals import Refused
from sizing.causes import names
from tests.makers.people import a_person
from tests.makers.registry import a_unit, an_installation
from tests.makers.visits import SPOT_READINGS, a_shortfall, a_visit, a_visit_under_way

TODAY = timezone.localdate()


@pytest.fixture
def repair(idris, organisation):
    installation = an_installation(organisation)
    return a_visit_under_way(installation, idris, "repair", shortfall=a_shortfall(installation))


def leave(visit, not_done="the rest was in order"):
    return services.leave(visit=visit, by=visit.technician, not_done=not_done)


def after_test(visit):
    return services.log_spot_test(visit=visit, readings=SPOT_READINGS, kind="after_work", by=visit.technician)


def finding(visit, cause="pump_worn", **changes):
    known = {"failure_mode": "less_water", "cause": cause, "action": "replaced"}
    return services.add_finding(visit=visit, by=visit.technician, **known | changes)


def test_a_repair_closes_only_with_an_after_test(repair, idris):
    finding(repair)
    leave(repair)
    with pytest.raises(Refused) as refusal:
        services.close(visit=repair, outcome="restored", by=idris)
    assert refusal.value.code == "no_after_test"
    after_test(repair)
    services.close(visit=repair, outcome="restored", by=idris)
    repair.refresh_from_db()
    assert (repair.state, repair.closed_by) == ("closed", idris)


def test_closing_a_repair_closes_the_shortfall_in_words(repair, idris):
    finding(repair)
    after_test(repair)
    leave(repair)
    services.close(visit=repair, outcome="restored", by=idris)
    shortfall = Shortfall.objects.get()
    assert (shortfall.state, shortfall.ending, shortfall.explained) == ("closed", "repaired", "worn pump")


def test_a_full_tank_explains_a_shortfall(repair, idris):
    finding(repair, cause="tank_full", action="explained", failure_mode="none")
    after_test(repair)
    leave(repair)
    services.close(visit=repair, outcome="restored", by=idris)
    assert Shortfall.objects.get().ending == "explained"


def test_an_after_test_below_does_not_say_restored(repair, idris, monkeypatch):
    monkeypatch.setattr(downward, "answer_spot", lambda *_: {"verdict": "below"})
    after_test(repair)
    leave(repair)
    with pytest.raises(Refused, match="still below"):
        services.close(visit=repair, outcome="restored", by=idris)


def test_a_shortfall_is_not_passed_over_in_silence(idris, organisation):
    installation = an_installation(organisation)
    visit = a_visit_under_way(installation, idris, shortfall=a_shortfall(installation))
    leave(visit)
    with pytest.raises(Refused, match="closed, explained or still stands"):
        services.close(visit=visit, outcome="in_order", by=idris)
    services.close(visit=visit, outcome="in_order", shortfall="keeps", by=idris)
    assert Shortfall.objects.get().state == "open"


def test_an_unfinished_repair_stays_open_and_is_followed(repair, idris, nadia):
    leave(repair)
    with pytest.raises(Refused, match="stays open"):
        services.close(visit=repair, outcome="part_awaited", by=idris)
    follow = services.leave_open(visit=repair, outcome="part_awaited", why="controller is ordered", by=idris)
    repair.refresh_from_db()
    assert (repair.state, repair.outcome) == ("logged", "part_awaited")
    assert (follow.state, follow.shortfall, follow.follows) == ("proposed", repair.shortfall, repair)
    with pytest.raises(Refused, match="waits already"):
        services.leave_open(visit=repair, outcome="part_awaited", why="again", by=idris)
    services.assign(visit=follow, technician=idris, on=TODAY, by=nadia)
    services.start(visit=follow, by=idris)
    follow.refresh_from_db()
    after_test(follow)
    finding(follow)
    leave(follow)
    services.close(visit=follow, outcome="restored", by=idris)
    repair.refresh_from_db()
    assert repair.state == "closed"


def test_open_steps_need_a_word(idris, organisation):
    visit = a_visit_under_way(an_installation(organisation), idris)
    services.leave(visit=visit, by=idris)
    with pytest.raises(Refused) as refusal:
        services.close(visit=visit, outcome="in_order", by=idris)
    assert refusal.value.field == "not_done"
    services.close(visit=visit, outcome="in_order", by=idris, not_done="rain")


def test_otto_and_wanja_close_nothing(repair, otto, wanja):
    after_test(repair)
    leave(repair)
    for person in (otto, wanja):
        with pytest.raises(Refused):
            services.close(visit=repair, outcome="restored", explained="it runs", by=person)


def a_rule(organisation, basis, amount):
    return InspectionRule.objects.create(organisation=organisation, name=f"by {basis}", basis=basis, amount=amount)


def looked_over(installation, days_ago, kind="inspection"):
    left = timezone.now() - timedelta(days=days_ago)
    return a_visit(
        installation, kind, state="closed", left_at=left, arrived_at=left, closed_at=left,
        technician=a_person(installation.organisation), planned_on=left.date(),
    )  # fmt: skip


def began(days_ago):
    start = timezone.now() - timedelta(days=days_ago)
    return {"start": start, "commissioned_on": start.date()}


DUE = [  # basis, amount, began days ago, last visit (kind, days ago) or None, due?
    ("months", 6, 400, ("inspection", 190), True),
    ("months", 6, 400, ("inspection", 100), False),
    ("months", 6, 190, None, True),
    ("months", 6, 400, ("repair", 100), False),
    ("first", 30, 28, None, True),
    ("first", 30, 10, None, False),
    ("first", 30, 35, ("inspection", 5), False),
    ("first", 30, 900, None, False),
    ("after_repair", 30, 400, ("repair", 25), True),
    ("after_repair", 30, 400, ("repair", 5), False),
    ("after_repair", 30, 400, ("inspection", 25), False),
    ("sun_hours", 500, 400, ("inspection", 120), True),
    ("sun_hours", 500, 400, ("inspection", 60), False),
]


@pytest.mark.parametrize(("basis", "amount", "began_days", "last", "due"), DUE)
def test_when_an_inspection_falls_due(basis, amount, began_days, last, due, organisation):
    installation = an_installation(organisation, **began(began_days))
    if last:
        looked_over(installation, last[1], last[0])
    rule = a_rule(organisation, basis, amount)
    assert services.propose_due() == (1 if due else 0)
    assert Visit.objects.filter(rule=rule, state="proposed").exists() is due


def test_before_the_warranty_ends(organisation):
    soon, late, over = (an_installation(organisation, **began(700)) for _ in range(3))
    for installation, days in ((soon, 65), (late, 200), (over, -5)):
        installation.unit.warranty_until = TODAY + timedelta(days=days)
        installation.unit.save()
    a_rule(organisation, "warranty", 60)
    services.propose_due()
    assert list(Visit.objects.values_list("installation", flat=True)) == [soon.pk]


def test_by_the_sun_that_was_recorded(organisation):
    installation = an_installation(organisation, **began(100))
    days = [TODAY - timedelta(days=n) for n in range(1, 41)]
    make_for("readings_dayrecord", np.array(days, dtype="datetime64[D]"))
    DayRecord.objects.bulk_create([DayRecord(installation=installation, day=d, irradiation_kwh_m2=6.0) for d in days])
    rule = a_rule(organisation, "sun_hours", 230)
    assert services.propose_due() == 1
    rule.amount = 250  # 40 days of 6 hours were recorded
    rule.save()
    Visit.objects.all().delete()
    assert services.propose_due() == 0


def test_the_sweep_may_run_twice(organisation):
    for _ in range(3):
        an_installation(organisation, **began(400))
    a_rule(organisation, "months", 6)
    assert sweep() == 3
    assert sweep() == 0
    assert Visit.objects.count() == 3


def test_a_unit_that_hangs_no_more_is_not_inspected(organisation):
    an_installation(organisation, start=datetime(2024, 1, 1, tzinfo=UTC), end=datetime(2025, 1, 1, tzinfo=UTC))
    a_rule(organisation, "months", 6)
    assert services.propose_due() == 0


def test_a_rule_switched_off_proposes_nothing(organisation):
    an_installation(organisation, **began(400))
    rule = a_rule(organisation, "months", 6)
    InspectionRule.objects.filter(pk=rule.pk).update(active=False)
    assert services.propose_due() == 0


def test_closing_sets_the_next_inspection_by_the_rules(idris, organisation):
    a_rule(organisation, "months", 6)
    visit = a_visit_under_way(an_installation(organisation), idris)
    leave(visit)
    services.close(visit=visit, outcome="in_order", by=idris)
    visit.installation.refresh_from_db()
    assert visit.installation.next_inspection_on == TODAY + timedelta(days=183)


def test_the_next_inspection_may_be_said_but_not_in_the_past(idris, organisation):
    visit = a_visit_under_way(an_installation(organisation), idris)
    leave(visit)
    with pytest.raises(Refused, match="later day"):
        services.close(visit=visit, outcome="in_order", by=idris, next_on=date(2020, 1, 1))
    services.close(visit=visit, outcome="in_order", by=idris, next_on=TODAY + timedelta(days=40))
    visit.installation.refresh_from_db()
    assert visit.installation.next_inspection_on == TODAY + timedelta(days=40)


def test_rules_are_changed_by_the_administrator_only(amara, nadia, organisation):
    known = {"name": "Yearly", "basis": "months", "amount": 12, "active": True}
    with pytest.raises(Refused):
        services.change_rule(by=nadia, **known)
    rule = services.change_rule(by=amara, **known)
    assert rule.organisation == organisation
    with pytest.raises(Refused):
        services.change_rule(rule=rule, by=amara, **known | {"amount": 0})


def test_the_sweep_asks_as_much_for_many_as_for_few(organisation, django_assert_max_num_queries):
    a_rule(organisation, "months", 6)
    services.set_up(organisation)
    for _ in range(8):
        an_installation(organisation, **began(400))
    with django_assert_max_num_queries(50):  # five rules, each a handful
        services.propose_due()


def test_a_confirmed_finding_teaches_the_odds_once(repair, idris, organisation):
    finding(repair, cause="valve_leaks")
    finding(repair, cause="dirt", confirmed=False)
    finding(repair, cause="clamp_slipped")
    after_test(repair)
    leave(repair)
    services.close(visit=repair, outcome="restored", by=idris)
    counts = {c.cause: c.found for c in CauseCount.objects.filter(organisation=organisation)}
    assert counts == {"main_leaks": 1}  # a finer cause teaches its coarser one; a guess and a clamp teach nothing
    assert downward.teach(repair.findings.first(), idris) is False
    assert output.counts(organisation.pk) == {"main_leaks": 1}


def test_a_finding_teaches_for_the_season_in_which_it_was_made(repair, idris):
    made = finding(repair, cause="dirt")
    made.noted_at = datetime(2025, 8, 31, 22, 30, tzinfo=UTC)  # the first of September at the site already
    made.save()
    assert downward.teach(made, idris)
    assert CauseCount.objects.get().month == 9


@pytest.fixture
def both_ways(repair, idris, organisation):
    """A finding that came from a telephone, and one that was typed at the desk; both have taught."""
    sent, typed = finding(repair, cause="dirt"), finding(repair, cause="main_leaks")
    FieldPiece.objects.create(
        key=sent.key, organisation=organisation, visit=repair, kind="finding", payload={}, written_at=sent.noted_at
    )
    for made in (sent, typed):
        assert downward.teach(made, idris)
    return {str(sent.key): "telephone", str(typed.key): "desk"}


def heard():
    return dict(FindingHeard.objects.values_list("finding_key", "way"))


def test_it_is_kept_how_a_finding_was_heard_and_whose_it_is(both_ways, organisation):
    assert heard() == both_ways
    assert set(FindingHeard.objects.values_list("organisation", flat=True)) == {organisation.pk}


def test_of_findings_that_were_heard_before_it_is_looked_up(both_ways, organisation):
    FindingHeard.objects.update(way="", organisation=None, heard_by=None)
    with connection.cursor() as cursor:
        cursor.execute(import_module("fleet.visits.migrations.0007_how_findings_were_heard").SQL)
    assert heard() == both_ways
    assert set(FindingHeard.objects.values_list("organisation", flat=True)) == {organisation.pk}


def test_a_finding_that_comes_after_the_closing_teaches_too(repair, idris, organisation):
    after_test(repair)
    leave(repair)
    services.close(visit=repair, outcome="restored", explained="washed", by=idris)
    services.add_finding(
        visit=repair, failure_mode="less_water", cause="dirt", action="cleaned", by=idris, late=True
    )  # fmt: skip
    assert output.counts(organisation.pk) == {"dirt": 1}


def test_findings_carry_causes_that_the_judgement_knows():
    assert set(TEACHES.values()) == set(names.NAMES)


def test_by_the_water_that_was_pumped(organisation):
    much, little = (an_installation(organisation, **began(60)) for _ in range(2))
    days = [TODAY - timedelta(days=n) for n in range(1, 31)]
    make_for("output_evaluation", np.array(days, dtype="datetime64[D]"))
    for installation, litres in ((much, 4000), (little, 1000)):
        Evaluation.objects.bulk_create([Evaluation(installation=installation, day=d, measured_l=litres) for d in days])
    a_rule(organisation, "water_m3", 100)  # 30 days of 4 m³ reach it, of 1 m³ do not
    assert services.propose_due() == 1
    assert Visit.objects.get().installation == much
    assert services.propose_due() == 0


def test_a_pump_that_was_exchanged_is_asked_for_in_the_register(repair, idris, client_of, organisation):
    services.set_up(organisation)
    store = a_unit(organisation)
    services.use_part(visit=repair, part_type="pump", by=idris, serial_in=store.serial)
    page = client_of(idris).get(f"/visits/{repair.key}/close/").content.decode()
    assert "Enter it in the register" in page
    assert store.serial in page
