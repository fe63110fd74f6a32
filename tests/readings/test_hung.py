"""Which installation a serial meant at a moment."""

from datetime import UTC, datetime

import numpy as np
import pytest

from fleet.readings.hung import Hung
from tests.makers.registry import a_unit, an_installation

pytestmark = pytest.mark.django_db
MARCH, JUNE, JULY = (datetime(2024, month, 1, tzinfo=UTC) for month in (3, 6, 7))


def test_a_unit_that_moved_is_found_where_it_hung_then(organisation):
    unit = a_unit(organisation, serial="RM-77")
    first = an_installation(unit=unit, start=MARCH, end=JUNE)
    second = an_installation(unit=unit, start=JULY)
    hung = Hung(organisation)
    moments = [datetime(2024, m, d, tzinfo=UTC).timestamp() for m, d in [(2, 1), (4, 1), (6, 15), (7, 1)]]
    rows = hung.at(hung.index_of(["rm-77", "RM-77 ", "RM-77", "RM-77"]), moments)
    assert rows[0] == rows[2] == -1
    assert hung.ids[rows[[1, 3]]].tolist() == [first.pk, second.pk]


def test_unknown_serials_and_units_in_store_are_found_nowhere(organisation):
    a_unit(organisation, serial="RM-1")
    hung = Hung(organisation)
    index = hung.index_of(["RM-1", "RM-2"])
    assert index.tolist() == [0, -1]
    assert hung.at(index, np.array([MARCH.timestamp()] * 2)).tolist() == [-1, -1]


def test_another_organisation_is_not_searched(organisation, other_organisation):
    an_installation(unit=a_unit(other_organisation, serial="RM-1"))
    assert Hung(organisation).index_of(["RM-1"]).tolist() == [-1]
