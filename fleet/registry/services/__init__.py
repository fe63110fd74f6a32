"""The registry's verbs. Pages, API and other rooms call these; nothing else writes these rows but the tables in
bulk."""

from fleet.registry.services.attachments import attach, withdraw
from fleet.registry.services.catalogue import (
    keep_cable,
    keep_district,
    keep_module_type,
    keep_pipe,
    keep_pump_points,
    keep_pump_type,
    standard_catalogue,
)
from fleet.registry.services.installing import correct, exchange, install, put_in_store, relocate, retire, take_out
from fleet.registry.services.labels import label_of, labels_for, read_label
from fleet.registry.services.places import (
    find_well,
    keep_climate,
    keep_level,
    keep_shade_windows,
    keep_site,
    keep_skyline,
    keep_tank,
    keep_well,
    remove_level,
)
from fleet.registry.services.units import keep_unit, keep_unit_points

__all__ = [
    "attach", "correct", "exchange", "find_well", "install",
    "keep_cable", "keep_climate", "keep_district", "keep_level", "keep_module_type",
    "keep_pipe", "keep_pump_points", "keep_pump_type", "keep_shade_windows", "keep_site",
    "keep_skyline", "keep_tank", "keep_unit", "keep_unit_points", "keep_well", "label_of", "labels_for",
    "put_in_store", "read_label", "relocate", "remove_level", "retire", "standard_catalogue", "take_out", "withdraw",
]  # fmt: skip
