"""The registry's tables, in and out: catalogue, places, units, installations, and all of them in one wide table."""

from fleet.intake import tables
from fleet.registry.tables.catalogue import CATALOGUE
from fleet.registry.tables.composed import COMPOSED


def register_all():
    for table in (*CATALOGUE, *COMPOSED):
        tables.register(table)
