"""What a visit changed about which pump hangs where goes into the register: an exchange, a move, an end."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.output import services as output
from fleet.output.models import Shortfall
from fleet.registry.models import Installation
from fleet.visits import services
from fleet.web.refusals import Refused
from tests.makers.people import a_person
from tests.makers.registry import a_unit, a_well, an_installation
from tests.makers.visits import SPOT_READINGS, a_shortfall, a_visit, a_visit_under_way


@pytest.fixture
def repair(idris, organisation):
    services.set_up(organisation)
    installation = an_installation(organisation)
    return a_visit_under_way(installation, idris, "repair", shortfall=a_shortfall(installation))


def exchanged(visit, other):
    services.use_part(
        visit=visit, part_type="pump", by=visit.technician, serial_out=visit.installation.unit.serial,
        serial_in=getattr(other, "serial", other),
    )  # fmt: skip


def enter(visit, by=None, minutes=30, **said):
    at = timezone.now() - timedelta(minutes=minutes)
    return services.enter_in_register(visit=visit, at=at, why="worn out", by=by or visit.technician, **said)


def test_an_exchanged_pump_hangs_in_the_old_ones_place_as_it_was_built(repair, organisation):
    old, store = repair.installation, a_unit(organisation)
    assert services.owed(repair) is None
    exchanged(repair, store)
    owed = services.owed(repair)
    assert (owed.kind, owed.unit, owed.other) == ("exchange", old.unit, store)
    made = enter(repair, scrapped=True)
    old.refresh_from_db()
    old.unit.refresh_from_db()
    assert (made.unit, made.well, made.setting_depth_m, made.module_type) == (
        store, old.well, old.setting_depth_m, old.module_type,
    )  # fmt: skip
    assert (old.hangs_now, old.unit.status, old.unit.retired_why) == (False, "retired", "worn out")
    repair.refresh_from_db()
    assert services.owed(repair) is None
    with pytest.raises(Refused, match="knows of this already"):
        enter(repair)


def test_the_after_test_goes_over_to_the_new_pump_and_the_first_test_stays(repair, organisation):
    early, late = timezone.now() - timedelta(minutes=50), timezone.now() - timedelta(minutes=10)
    by = repair.technician
    services.log_spot_test(visit=repair, readings=SPOT_READINGS, kind="visit", by=by, at=early)
    services.log_spot_test(visit=repair, readings=SPOT_READINGS, kind="after_work", by=by, at=late)
    exchanged(repair, a_unit(organisation))
    made = enter(repair)
    assert [t.kind for t in repair.installation.spot_tests.all()] == ["visit"]
    assert [t.kind for t in made.spot_tests.all()] == ["after_work"]


def test_the_shortfall_ends_as_repaired_and_the_next_inspection_is_the_new_pumps(repair, organisation, idris):
    services.log_spot_test(visit=repair, readings=SPOT_READINGS, kind="after_work", by=idris)
    exchanged(repair, store := a_unit(organisation))
    made = enter(repair)
    shortfall = Shortfall.objects.get(pk=repair.shortfall_id)
    assert (shortfall.state, shortfall.ending) == ("closed", "repaired")
    assert store.serial in shortfall.explained
    services.leave(visit=repair, by=idris, not_done="the rest was in order")
    repair.refresh_from_db()
    services.close(visit=repair, outcome="restored", by=idris)
    made.refresh_from_db()
    repair.installation.refresh_from_db()
    assert made.next_inspection_on is not None
    assert repair.installation.next_inspection_on is None


def test_a_pump_that_the_register_does_not_know_is_named_and_nothing_changes(repair, organisation):
    exchanged(repair, "ZZ-0001")
    assert services.owed(repair).other is None
    with pytest.raises(Refused, match="ZZ-0001 is not in the register") as refusal:
        enter(repair)
    assert refusal.value.code == "unit_unknown"
    assert Installation.objects.get(pk=repair.installation_id).hangs_now
    unit = a_unit(organisation, serial="zz-0001")  # added since: found by its serial
    assert services.owed(repair).other == unit


def test_a_moved_pump_hangs_in_the_new_well_with_what_was_measured_there(idris, organisation, nadia):
    visit = a_visit_under_way(an_installation(organisation), idris, "relocation")
    a_shortfall(visit.installation)
    well = a_well(organisation=organisation)
    with pytest.raises(Refused, match="Say which well"):
        enter(visit)
    made = enter(visit, by=nadia, well=well, setting_depth_m=31.0)
    assert (made.unit, made.well, made.setting_depth_m) == (visit.installation.unit, well, 31.0)
    assert made.modules_in_series == visit.installation.modules_in_series
    assert [s.ending for s in Shortfall.objects.all()] == ["gone"]


def test_a_retired_pump_leaves_the_well_free_and_nobodys_list_holds_its_shortfall(idris, organisation):
    visit = a_visit_under_way(an_installation(organisation), idris, "retirement")
    a_shortfall(visit.installation)
    assert enter(visit, scrapped=False) is None
    unit = visit.installation.unit
    unit.refresh_from_db()
    assert unit.status == "stored"
    assert not Shortfall.objects.filter(state="open").exists()


def test_the_sweep_ends_shortfalls_of_pumps_that_were_taken_out_in_the_register(
    organisation, nadia, monkeypatch
):
    from fleet.registry import services as registry

    gone, stays = a_shortfall(an_installation(organisation)), a_shortfall(an_installation(organisation))
    registry.take_out(unit=gone.installation.unit, at=timezone.now(), why="well caved in", by=nadia)
    monkeypatch.setattr("fleet.output.services.sweeping.wake", lambda *call: True)  # no worker in this test
    output.sweep()
    gone.refresh_from_db()
    stays.refresh_from_db()
    assert (gone.state, gone.ending, gone.explained) == ("closed", "gone", "well caved in")
    assert stays.state == "open"
    assert output.end_gone() == 0


def test_the_page_asks_with_what_the_log_tells_and_enters_it(repair, organisation, idris, client_of):
    store = a_unit(organisation)
    exchanged(repair, store)
    client = client_of(idris)
    assert store.serial in client.get(reverse("visits:visit", args=[repair.key])).content.decode()
    address = reverse("visits:enter", args=[repair.key])
    assert store.serial in client.get(address).content.decode()
    at = timezone.localtime(timezone.now(), timezone.get_fixed_timezone(180)).strftime("%Y-%m-%dT%H:%M")
    wrong = client.post(address, {"at": at, "why": "", "scrapped": "no"})
    assert wrong.status_code == 422
    assert client.post(address, {"at": at, "why": "worn", "scrapped": "no"}).status_code == 302
    assert Installation.objects.hanging().get(unit=store).well == repair.installation.well
    assert client.get(address).status_code == 302  # nothing is owed any more


def test_a_well_is_named_by_its_sites_code_and_a_wrong_one_is_told(idris, organisation, client_of):
    visit = a_visit_under_way(an_installation(organisation), idris, "relocation")
    well = a_well(organisation=organisation)
    client, address = client_of(idris), reverse("visits:enter", args=[visit.key])
    at = timezone.localtime(timezone.now(), timezone.get_fixed_timezone(180)).strftime("%Y-%m-%dT%H:%M")
    refused = client.post(address, {"at": at, "why": "agreed", "well": "S-none"})
    assert "no well of this site code" in refused.content.decode()
    assert client.post(address, {"at": at, "why": "agreed", "well": well.site.code}).status_code == 302
    assert Installation.objects.hanging().get(unit=visit.installation.unit).well == well


def test_strangers_and_other_technicians_enter_nothing(repair, organisation, otto, client_of):
    selma = a_person(organisation, "technician")
    exchanged(repair, a_unit(organisation))
    for person in (otto, selma):
        assert client_of(person).get(reverse("visits:enter", args=[repair.key])).status_code in {403, 404}
        with pytest.raises(Refused):
            enter(repair, by=person)
    proposed = a_visit(an_installation(organisation), "retirement")
    assert services.owed(proposed) is None  # nobody was there yet
