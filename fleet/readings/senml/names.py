"""What a record's name says: whose reading it is, and of which quantity. The scheme is ours.

    SERIAL/quantity          a sample of a logger                          RM00012/flow
    SERIAL/day/quantity      the figure of the local day the time is in    RM00012/day/volume
    SERIAL/noon/quantity     the mean of the quarter hour at solar noon    RM00012/noon/voltage
    SERIAL/test/quantity     one of the readings of a spot test            RM00012/test/static-level
    SERIAL/meter             the total on the meter

Anything may stand before the serial, ended by / or : (as in urn:example:RM00012/flow).
A sign of the serial that SenML does not allow in names is written as _. Records of one unit and moment make one row.
"""

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime

from django.utils.translation import gettext as _

from fleet.readings.senml.pack import Fault
from fleet.readings.serials import Near

# Unit of SenML -> factor to the unit that is kept. Registered with IANA (RFC 8428, RFC 8798) but for l/min, m3/h,
# kWh/m2 and MJ/m2, which meters and loggers of this trade write.
FLOW = {"l/min": 1.0, "l/s": 60.0, "m3/s": 60_000.0, "m3/h": 1000 / 60}
VOLUME = {"m3": 1000.0, "l": 1.0}
SUN = {"W/m2": 1.0}
DAY_SUN = {"kWh/m2": 1.0, "J/m2": 1 / 3.6e6, "MJ/m2": 1 / 3.6}
VOLTS, AMPS = {"V": 1.0, "mV": 0.001}, {"A": 1.0, "mA": 0.001}
LENGTH = {"m": 1.0, "cm": 0.01, "mm": 0.001}
WARMTH = {"Cel": 1.0, "K": 1.0}
TIME_MIN = {"min": 1.0, "s": 1 / 60}
MEGOHM, OHM = {"Ohm": 1e-6}, {"Ohm": 1.0}
KELVIN_ZERO_C = 273.15
FLOW_S_TO_L = 1 / 60  # a sum of litres a minute over seconds, in litres

TEXT, FLAG = "text", "flag"


@dataclass(frozen=True)
class Quantity:
    """One quantity: the table and column it is kept in, and the units it may come in."""

    table: str
    column: str
    units: object


NAMES = {
    "flow": Quantity("series", "flow_l_min", FLOW),
    "irradiance": Quantity("series", "irradiance_w_m2", SUN),
    "voltage": Quantity("series", "voltage_v", VOLTS),
    "current": Quantity("series", "current_a", AMPS),
    "level": Quantity("series", "level_m", LENGTH),
    "meter": Quantity("meter_readings", "total_l", VOLUME),
    "day/volume": Quantity("daily_records", "volume_l", VOLUME),
    "day/irradiation": Quantity("daily_records", "irradiation_kwh_m2", DAY_SUN),
    "day/tank-full": Quantity("daily_records", "tank_full_seen", FLAG),
    "noon/irradiance": Quantity("noon_records", "irradiance_w_m2", SUN),
    "noon/voltage": Quantity("noon_records", "voltage_v", VOLTS),
    "noon/current": Quantity("noon_records", "current_a", AMPS),
    "noon/level": Quantity("noon_records", "level_m", LENGTH),
    "test/kind": Quantity("spot_tests", "kind", TEXT),
    "test/sun-by": Quantity("spot_tests", "sun_by", TEXT),
    "test/irradiance": Quantity("spot_tests", "irradiance_w_m2", SUN),
    "test/module-current": Quantity("spot_tests", "module_isc_a", AMPS),
    "test/cell-temperature": Quantity("spot_tests", "cell_c", WARMTH),
    "test/air-temperature": Quantity("spot_tests", "air_c", WARMTH),
    "test/voltage": Quantity("spot_tests", "voltage_v", VOLTS),
    "test/current": Quantity("spot_tests", "current_a", AMPS),
    "test/output-voltage": Quantity("spot_tests", "output_voltage_v", VOLTS),
    "test/output-current": Quantity("spot_tests", "output_current_a", AMPS),
    "test/flow-by": Quantity("spot_tests", "flow_by", TEXT),
    "test/flow": Quantity("spot_tests", "flow_l_min", FLOW),
    "test/no-water": Quantity("spot_tests", "no_water", FLAG),
    "test/watched": Quantity("spot_tests", "watched_min", TIME_MIN),
    "test/meter-flow": Quantity("spot_tests", "meter_flow_l_min", FLOW),
    "test/static-level": Quantity("spot_tests", "static_level_m", LENGTH),
    "test/pumping-level": Quantity("spot_tests", "pumping_level_m", LENGTH),
    "test/first-water": Quantity("spot_tests", "first_water_min", TIME_MIN),
    "test/insulation": Quantity("spot_tests", "insulation_mohm", MEGOHM),
    "test/loop-resistance": Quantity("spot_tests", "loop_ohm", OHM),
    "test/instrument": Quantity("spot_tests", "instrument", TEXT),
    "test/notes": Quantity("spot_tests", "notes", TEXT),
}
GROUPS = ("day", "noon", "test")
SPLIT = re.compile(r"[/:]")
NOT_ALLOWED = re.compile(r"[^a-z0-9\-:./_]")
ORDER = ("meter_readings", "daily_records", "noon_records", "series", "spot_tests")


@dataclass
class Row:
    """One row for a table: its cells by column, and from which record and label each came."""

    table: str
    serial: str
    at: datetime
    cells: dict = field(default_factory=dict)
    records: dict = field(default_factory=dict)
    first: int = 0


def written(serial):
    """A serial as it stands in names."""
    return NOT_ALLOWED.sub("_", serial.strip().lower())


def rows_of(records, serials):
    """Resolved records as rows for the tables: ({table: [Row]}, faults). `serials`: those of the fleet."""
    known = {}
    for serial in serials:
        known.setdefault(written(serial), []).append(serial)
    near = Near({name: serials[0] for name, serials in known.items()})
    rows, faults = {}, []
    for record in records:
        try:
            serial, quantity = _named(record, known, near)
            for table, column, cell, label in _cells(record, quantity):
                _put(rows, record, (table, serial), column, cell, label)
        except _Wrong as wrong:
            faults.append(wrong.fault)
    found = {table: [] for table in ORDER}
    for row in rows.values():
        found[row.table].append(row)
    return {table: these for table, these in found.items() if these}, faults


class _Wrong(Exception):
    def __init__(self, code, sentence, record, label, found=""):
        super().__init__(sentence)
        self.fault = Fault(code, sentence, record.number, label, found[:80])


def _named(record, known, near):
    """(serial, quantity's name) of a record."""
    parts = SPLIT.split(record.name)
    quantity, before = parts[-1].lower(), len(parts) - 1
    if before and parts[-2].lower() in GROUPS and f"{parts[-2].lower()}/{quantity}" in NAMES:
        quantity, before = f"{parts[-2].lower()}/{quantity}", before - 1
    if quantity not in NAMES:
        sentence = _("“%(name)s” ends in no quantity known here. Known are: %(names)s.")
        names = ", ".join(NAMES)
        raise _Wrong("unknown_quantity", sentence % {"name": parts[-1], "names": names}, record, "n", record.name)
    # The separators are kept, for a serial may hold them: the longest ending that is a serial is meant.
    named = sum(len(part) + 1 for part in parts[before:])
    rest = record.name[:-named].lower() if before else ""
    while rest and rest not in known:
        cut = SPLIT.search(rest)
        rest = rest[cut.end() :] if cut else ""
    if not rest:
        sentence = _("No unit with the serial in “%(name)s” is kept here. Write SERIAL/%(quantity)s.")
        sentence %= {"name": record.name, "quantity": quantity}
        if before and near.to(parts[before - 1]):
            sentence = near.sentence(parts[before - 1])
        raise _Wrong("unknown_serial", sentence, record, "n", record.name)
    if len(known[rest]) > 1:
        sentence = _("“%(name)s” could be any of: %(serials)s. Send these readings as JSON or CSV.")
        words = {"name": record.name, "serials": ", ".join(known[rest][:5])}
        raise _Wrong("serial_unclear", sentence % words, record, "n", record.name)
    return known[rest][0], quantity


def _cells(record, name):
    """[(table, column, cell, label)] of a record: its value, and a flow's sum as the meter's total."""
    quantity = NAMES[name]
    if quantity.units is TEXT:
        if record.text is None:
            raise _Wrong("wrong_kind", _("This is a text: send it as “vs”."), record, _label(record))
        return [(quantity.table, quantity.column, record.text, "vs")]
    if quantity.units is FLAG:
        if record.flag is None:
            raise _Wrong("wrong_kind", _("This is yes or no: send it as “vb”."), record, _label(record))
        return [(quantity.table, quantity.column, record.flag, "vb")]
    if record.value is None and record.sum is None:
        raise _Wrong("wrong_kind", _("This is a figure: send it as “v”."), record, _label(record))
    if record.unit not in quantity.units:
        sentence = _("“%(name)s” comes in %(units)s; here stands “%(found)s”.") if record.unit else _(
            "“%(name)s” needs its unit: send “u” as %(units)s.")  # fmt: skip
        words = {"name": name, "units": ", ".join(quantity.units), "found": record.unit[:20]}
        raise _Wrong("wrong_unit", sentence % words, record, "u", record.unit)
    factor, cells = quantity.units[record.unit], []
    if record.value is not None:
        kept = record.value * factor - (KELVIN_ZERO_C if record.unit == "K" else 0)
        cells.append((quantity.table, quantity.column, float(f"{kept:.12g}"), "v"))
    if record.sum is not None:
        if name != "flow":
            sentence = _("A sum is kept of “flow” only, as the meter's total.")
            raise _Wrong("no_sum", sentence, record, "s")
        # A sum is the value added up over seconds: that of a flow is water, what a meter counts.
        litres = float(f"{record.sum * factor * FLOW_S_TO_L:.12g}")
        cells.append(("meter_readings", "total_l", litres, "s"))
    return cells


def _label(record):
    kinds = {"v": record.value, "vs": record.text, "vb": record.flag, "vd": record.data}
    return next((label for label, value in kinds.items() if value is not None), "v")


def _put(rows, record, whose, column, cell, label):
    at = datetime.fromtimestamp(round(record.at_s, 3), UTC)
    row = rows.setdefault((*whose, at), Row(*whose, at, first=record.number))
    if row.cells.get(column, cell) != cell:
        sentence = _("Record %(other)d gives another figure for the same name and moment. Keep one of them.")
        raise _Wrong("said_twice", sentence % {"other": row.records[column][0]}, record, label)
    row.cells[column] = cell
    row.records.setdefault(column, (record.number, label))
