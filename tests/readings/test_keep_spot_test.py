"""Keeping a spot test."""

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from fleet.readings.models import SpotTest
from fleet.readings.services import flow_of, keep_spot_test
from fleet.web.refusals import Refused
from tests.makers.readings import NOON
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db


@pytest.fixture
def installation(organisation):
    return an_installation(organisation)


def test_a_test_sent_twice_is_kept_once(installation, idris):
    key = uuid.uuid4()
    known = {"installation": installation, "at": NOON, "kind": "visit", "by": idris, "key": key}
    assert [keep_spot_test(flow_l_min=14.0, **known)[1] for _ in range(2)] == [True, False]
    assert SpotTest.objects.count() == 1


def test_the_flow_comes_from_the_fills(installation, idris):
    repeats = [{"litres": 20, "seconds": 80}, {"litres": 20, "seconds": 82}, {"litres": 20, "seconds": 200}]
    test, _ = keep_spot_test(installation=installation, at=NOON, kind="visit", by=idris, repeats=repeats)
    assert test.flow_l_min == pytest.approx(20 * 60 / 82)
    assert test.repeats == repeats
    assert flow_of([]) is None


REFUSALS = [  # what is wrong, code, field
    ({"at": timezone.now() + timedelta(days=2)}, "time_to_come", "at"),
    ({"at": NOON - timedelta(days=400)}, "not_hung_then", "at"),
    ({"irradiance_w_m2": 9000}, "out_of_range", "irradiance_w_m2"),
    ({"flow_l_min": -1}, "out_of_range", "flow_l_min"),
    ({"repeats": [{"litres": 20, "seconds": 0}]}, "fill_incomplete", "repeats"),
]


@pytest.mark.parametrize(("wrong", "code", "field"), REFUSALS)
def test_what_cannot_be_is_refused_by_name(installation, idris, wrong, code, field):
    with pytest.raises(Refused) as refusal:
        keep_spot_test(**{"installation": installation, "at": NOON, "kind": "visit", "by": idris} | wrong)
    assert (refusal.value.code, refusal.value.field) == (code, field)
    assert not SpotTest.objects.exists()


def test_a_manager_reads_and_otto_belongs_elsewhere(installation, wanja, otto):
    for person, code in ((wanja, "not_allowed"), (otto, "not_yours")):
        with pytest.raises(Refused) as refusal:
            keep_spot_test(installation=installation, at=NOON, kind="visit", by=person, flow_l_min=14)
        assert refusal.value.code == code


def test_a_second_test_at_the_same_minute_is_refused_with_a_way_out(installation, idris):
    known = {"installation": installation, "at": NOON, "kind": "visit", "by": idris}
    keep_spot_test(flow_l_min=14.0, **known)
    with pytest.raises(Refused) as refusal:
        keep_spot_test(flow_l_min=15.0, **known)
    assert refusal.value.code == "already_there"
