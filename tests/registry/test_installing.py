"""A unit into a well and out of it: each verb with what it refuses."""

from datetime import timedelta

import pytest
from django.utils import timezone

from fleet.registry import services
from fleet.registry.models import Installation, Unit
from fleet.registry.services.keeping import keep
from fleet.web.refusals import Refused
from tests.makers.registry import START, a_period, a_unit, a_well, an_installation

pytestmark = pytest.mark.django_db
LATER = START + timedelta(days=100)


def test_install_hangs_a_stored_unit_in_an_empty_well(organisation, nadia):
    unit, well = a_unit(organisation), a_well(organisation=organisation)
    made = services.install(unit=unit, well=well, at=START, by=nadia, setting_depth_m=40, tilt_deg=12)
    unit.refresh_from_db()
    assert (made.hangs_now, made.setting_depth_m, made.tilt_deg, unit.status) == (True, 40, 12, "installed")


def test_install_refuses_with_a_way_out(organisation, nadia):
    hanging, empty = an_installation(organisation), a_well(organisation=organisation)
    other = a_unit(organisation)
    for unit, well, at, code in [
        (hanging.unit, empty, LATER, "unit_elsewhere"),
        (other, hanging.well, LATER, "well_taken"),
        (other, hanging.well, START - timedelta(days=3), "well_taken"),
        (other, empty, timezone.now() + timedelta(days=3), "in_the_future"),
    ]:
        with pytest.raises(Refused) as refusal:
            services.install(unit=unit, well=well, at=at, by=nadia)
        assert refusal.value.code == code
    services.retire(unit=other, why="motor burnt", by=nadia)
    with pytest.raises(Refused, match="retired"):
        services.install(unit=other, well=empty, at=LATER, by=nadia)
    assert Installation.objects.count() == 1


def test_relocation_is_one_action_at_one_moment(organisation, nadia):
    old, new_well = an_installation(organisation), a_well(organisation=organisation)
    new = services.relocate(unit=old.unit, well=new_well, at=LATER, why="well fell dry", by=nadia, setting_depth_m=33)
    old.refresh_from_db()
    assert old.period.upper == new.period.lower == LATER
    assert (old.closed_why, new.setting_depth_m, new.module_type_id) == ("well fell dry", 33, old.module_type_id)
    assert new.pipe_length_m is None  # hangs at another depth: to be measured there
    assert list(Installation.objects.hanging()) == [new]


def test_a_relocation_that_cannot_be_finished_leaves_all_as_it_was(organisation, nadia):
    old, taken = an_installation(organisation), an_installation(organisation)
    with pytest.raises(Refused) as refusal:
        services.relocate(unit=old.unit, well=taken.well, at=LATER, why="", by=nadia)
    assert refusal.value.code == "well_taken" and taken.unit.serial in str(refusal.value)
    old.refresh_from_db()
    assert old.hangs_now and old.closed_why == ""
    with pytest.raises(Refused, match="before it began"):
        services.relocate(unit=old.unit, well=a_well(organisation=organisation), at=START, why="", by=nadia)
    with pytest.raises(Refused, match="in that well already"):
        services.relocate(unit=old.unit, well=old.well, at=LATER, why="", by=nadia)


def test_take_out_retire_and_back_into_store(organisation, nadia):
    hanging = an_installation(organisation)
    services.take_out(unit=hanging.unit, at=LATER, why="workshop", by=nadia)
    unit = Unit.objects.get(pk=hanging.unit_id)
    assert unit.status == "stored"
    with pytest.raises(Refused, match="hangs nowhere"):
        services.take_out(unit=unit, at=LATER, why="", by=nadia)
    with pytest.raises(Refused, match="Say why"):
        services.retire(unit=unit, why=" ", by=nadia)
    services.retire(unit=unit, why="worn out", by=nadia)
    with pytest.raises(Refused, match="already"):
        services.retire(unit=unit, why="worn out", by=nadia)
    assert services.put_in_store(unit=unit, by=nadia).status == "stored"


def test_retiring_a_hanging_unit_closes_its_installation(organisation, nadia):
    hanging = an_installation(organisation)
    services.retire(unit=hanging.unit, why="stolen", at=LATER, by=nadia)
    hanging.refresh_from_db()
    assert (hanging.period.upper, hanging.closed_why, hanging.unit.status) == (LATER, "stolen", "retired")


def test_the_race_that_the_words_cannot_see_ends_in_the_same_words(organisation, monkeypatch):
    first, unit = an_installation(organisation), a_unit(organisation)
    monkeypatch.setattr(Installation, "full_clean", lambda self: None)  # another's row came between look and write
    late = Installation(organisation=organisation, unit=unit, well=first.well, period=a_period(LATER))
    with pytest.raises(Refused) as refusal:
        keep(late)
    assert (refusal.value.code, str(refusal.value)) == (
        "well_taken", "Another unit hangs in this well then. Close that installation first.",
    )  # fmt: skip


def test_who_may(organisation, nadia, idris, wanja, otto):
    unit, well = a_unit(organisation), a_well(organisation=organisation)
    for stranger in (wanja, otto):
        with pytest.raises(Refused):
            services.install(unit=unit, well=well, at=START, by=stranger)
    services.install(unit=unit, well=well, at=START, by=idris)
