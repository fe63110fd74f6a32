"""A kind of table says how its rows are kept; one that does not is found out when the application starts."""

import pytest

from fleet.intake import tables
from fleet.registry.tables.keeping import Part


def test_a_table_that_takes_no_rows_and_a_part_without_a_plan_cannot_be_made():
    class Forgetful(tables.Table):
        name = "forgetful"

    class Aimless(Part):
        name = "aimless"

    with pytest.raises(TypeError, match="take"):
        tables.register(Forgetful())
    with pytest.raises(TypeError, match="plan"):
        Aimless()
    assert tables.find("forgetful") is None


def test_every_table_that_is_offered_can_be_made_and_takes_rows():
    offered = tables.all_tables()
    assert {"fleet", "spot_tests"} <= {table.name for table in offered}
    assert all(type(table).take is not tables.Table.take for table in offered)
