"""What the database itself forbids, whoever writes."""

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction

from tests.makers.registry import START, a_unit, a_well, an_installation

pytestmark = pytest.mark.django_db


def test_a_unit_hangs_in_one_well_at_a_time(organisation):
    first = an_installation(organisation)
    with pytest.raises(IntegrityError, match="unit_in_one_well_at_a_time"), transaction.atomic():
        an_installation(organisation, unit=first.unit, start=START + timedelta(days=5))


def test_a_well_holds_one_unit_at_a_time(organisation):
    first = an_installation(organisation)
    with pytest.raises(IntegrityError, match="well_holds_one_unit_at_a_time"), transaction.atomic():
        an_installation(organisation, well=first.well, start=START + timedelta(days=5))


def test_one_follows_the_other_at_the_same_moment(organisation):
    well, unit = a_well(organisation=organisation), a_unit(organisation)
    noon = START + timedelta(days=30)
    an_installation(organisation, unit=unit, well=well, end=noon)
    an_installation(organisation, unit=unit, start=noon)
    an_installation(organisation, well=well, start=noon)
    assert unit.installations.count() == well.installations.count() == 2
