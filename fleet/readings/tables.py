"""Tables of readings that come in: spot tests, meter figures, daily, noon and finer records, or all in one file.

Rows are found by serial and moment: a reading belongs to the installation in which that unit hung then. A time without
a zone, or a day alone, is taken in the site's own zone.
"""

from datetime import UTC, date, datetime, timedelta

import numpy as np
from django.db import DatabaseError
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy as L
from django.utils.translation import ngettext

from fleet.intake.columns import Column
from fleet.intake.errors import Unreadable
from fleet.intake.numbers import number
from fleet.intake.readers import a_moment, a_moment_or_day, choice, in_zone, text, yes_no
from fleet.intake.tables import Table, register
from fleet.readings import taking_out
from fleet.readings.hung import Hung
from fleet.readings.models import SpotTest
from fleet.readings.serials import Near
from fleet.readings.services import (
    Replacing,
    clocks_of,
    keep_days,
    keep_meter_readings,
    keep_series,
    keep_spot_tests,
    without_water,
)
from fleet.web.refusals import Refused

EARLIEST = datetime(1990, 1, 1, tzinfo=UTC)
MOST_L_DAY = 500_000  # more than any pump of this size lifts from sunrise to sunset


SERIAL = Column(
    "serial", L("Serial"), text(40), example="RM00012", required=True, aliases=("unit", "pump", "serial no")
)
TIME = Column(
    "at", L("Time"), a_moment, required=True, aliases=("timestamp", "time", "date and time", "datetime"),
    note=L("without a zone it is the site's own time"),
)  # fmt: skip
TIME_OR_DAY = Column(
    "at", L("Time"), a_moment_or_day, required=True, aliases=("timestamp", "time", "date", "day", "date and time"),
    note=L("a day alone where nobody wrote the hour down; without a zone it is the site's own time"),
)  # fmt: skip
VOLUME = Column(
    "volume_l", L("Volume of the day"), number("l", 0, MOST_L_DAY, "4250"), aliases=("daily volume", "volume", "litres")
)
IRRADIATION = Column(
    "irradiation_kwh_m2", L("Irradiation of the day in the plane of the modules"),
    number("kwh/m2", 0, 15, "5.8", mistaken=("wh/m2",)), aliases=("irradiation", "insolation"),
)  # fmt: skip
TANK_FULL = Column("tank_full_seen", L("Tank seen full"), yes_no, aliases=("tank full",))
TOTAL = Column(
    "total_l", L("Meter total"), number("l", 0, 1e10, "945152"),
    aliases=("meter total", "meter", "total", "meter reading"),
)  # fmt: skip  # fmt: skip
SUN = Column("irradiance_w_m2", L("Irradiance in the plane of the modules"), number("w/m2", 0, 1600, "850"),
             aliases=("irradiance",))  # fmt: skip
VOLTS = Column("voltage_v", L("Array voltage"), number("v", 0, 1000, "52"), aliases=("array voltage", "voltage"))
AMPS = Column("current_a", L("Array current"), number("a", 0, 200, "6.4"), aliases=("array current", "current"))
FLOW = Column("flow_l_min", L("Flow"), number("l/min", 0, 2000, "14.2"), aliases=("flow", "flow rate"))
LEVEL = Column("level_m", L("Depth to water below ground"), number("m", -5, 500, "24.8"),
               aliases=("water level", "level", "depth to water"))  # fmt: skip


class _Readings(Table):
    """What the tables of readings share: whose reading it is, and when it was by the site's calendar."""

    group = "readings"
    key = ()
    chunk = 50_000
    dated = True

    def begin(self, run):
        run.memory["hung"] = hung = Hung(run.organisation)
        run.memory["near"] = Near(hung.written)

    def placed(self, rows, run):
        """Rows that belong somewhere: [(row, place in Hung, aware moment or None)]; the others get their fault."""
        hung = run.memory["hung"]
        index = hung.index_of([row["serial"] for row in rows])
        found = []
        moments = np.zeros(len(rows))
        soon = timezone.now() + timedelta(days=1)
        for n, row in enumerate(rows):
            if index[n] < 0:
                row.fault("serial", run.memory["near"].sentence(row["serial"]))
                continue
            moment = self._moment(row, hung, index[n])
            if moment is None:
                continue
            if not EARLIEST < moment < soon:
                row.fault("at", _("The year cannot be right, or the time has not come yet."))
                continue
            row.values["moment"] = moment
            moments[n] = moment.timestamp()
        places = hung.at(index, moments)
        for n, row in enumerate(rows):
            if "moment" not in row.values:
                continue
            if places[n] < 0:
                row.fault("at", _("This unit hung in no well then. Check the day, or enter that time's installation."))
                continue
            found.append((row, places[n], moments[n]))
        return found

    def _moment(self, row, hung, unit):
        """The row's time, aware; a naive one and a day alone are the site's."""
        at = row["at"]
        if isinstance(at, datetime) and at.tzinfo is not None:
            return at
        first, last = hung.first[unit], hung.first[unit + 1]
        if first == last:
            row.fault("serial", _("This unit hangs in no well. Enter its installation first."))
            return None
        zone = hung.zones[hung.zone_of[last - 1]]
        if isinstance(at, date) and not isinstance(at, datetime):
            row.values["day_only"] = True
            at = datetime(at.year, at.month, at.day, 12)
        try:
            return in_zone(at, zone)
        except Unreadable as fault:
            row.fault("at", fault)
            return None


def _ids(hung, found):
    return hung.ids[np.array([place for _row, place, _moment in found], dtype=np.int64)]


def _local(hung, found):
    places = np.array([place for _row, place, _moment in found], dtype=np.int64)
    return hung.local(places, [moment for _row, _place, moment in found])


def _column(found, name):
    return np.array([row.values.get(name, np.nan) for row, _place, _moment in found], dtype=float)


def _ticks(found):
    ticks = (row.values.get("tank_full_seen") for row, _place, _moment in found)
    return np.array([-1 if tick is None else int(tick) for tick in ticks], dtype=np.int8)


def _counted(found, kept):
    """Give the rows their outcome. Which of them was new and which the same is only known by number."""
    outcomes = ["new"] * kept.new + ["changed"] * kept.changed
    outcomes += ["same"] * (len(found) - len(outcomes))
    for (row, _place, _moment), outcome in zip(found, outcomes, strict=False):
        row.outcome = outcome


def _need(found, names, sentence):
    """Rows that say nothing at all are faults; the others."""
    good = []
    for one in found:
        if any(one[0].values.get(name) is not None for name in names):
            good.append(one)
        else:
            one[0].fault("", sentence)
    return good


def take_daily(hung, found):
    names = ("volume_l", "irradiation_kwh_m2", "tank_full_seen")
    found = _need(found, names, _("Neither a volume nor an irradiation stands here."))
    if found:
        columns = {name: _column(found, name) for name in names[:2]} | {"tank_full_seen": _ticks(found)}
        days, _second = _local(hung, found)
        _counted(found, keep_days(installations=_ids(hung, found), days=days, columns=_told(columns)))


def take_noon(hung, found):
    names = ("irradiance_w_m2", "voltage_v", "current_a", "level_m")
    found = _need(found, names, _("No reading stands here."))
    if found:
        days, _second = _local(hung, found)
        columns = {f"noon_{name}": _column(found, name) for name in names}
        _counted(found, keep_days(installations=_ids(hung, found), days=days, columns=_told(columns)))


def _told(columns):
    """Columns in which anything stands."""
    return {
        name: values
        for name, values in columns.items()
        if (values >= 0).any() or (values.dtype.kind == "f" and np.isfinite(values).any())
    }


def take_meter(hung, found, source):
    found = _need(found, ("total_l",), _("The meter's total is missing."))
    if found:
        days, _second = _local(hung, found)
        kept = keep_meter_readings(
            installations=_ids(hung, found),
            epoch_s=[moment for _row, _place, moment in found],
            days=days,
            totals=_column(found, "total_l"),
            tank_full=_ticks(found),
            hour_known=[not row.values.get("day_only") for row, _place, _moment in found],
            source=source,
        )
        _counted(found, kept)


class Daily(_Readings):
    name, title, order = "daily_records", L("Daily volumes"), 210
    about = L("A row a unit and day: the day's water, and the day's irradiation where a sensor stands.")
    columns = (SERIAL, TIME_OR_DAY, VOLUME, IRRADIATION, TANK_FULL)

    def take(self, rows, run):
        take_daily(run.memory["hung"], self.placed(rows, run))

    def rows(self, organisation, since=None, through=None):
        return taking_out.daily(organisation, since, through)


class Noon(_Readings):
    name, title, order = "noon_records", L("Noon records"), 220
    about = L("A row a unit and day: the mean of the quarter hour at solar noon.")
    columns = (SERIAL, TIME_OR_DAY, SUN, VOLTS, AMPS, LEVEL)

    def take(self, rows, run):
        take_noon(run.memory["hung"], self.placed(rows, run))

    def rows(self, organisation, since=None, through=None):
        return taking_out.noon(organisation, since, through)


class Meter(_Readings):
    name, title, order = "meter_readings", L("Meter readings"), 200
    about = L(
        "A row a reading: the total as it stands on the meter, with the hour if it was written down, and whether the "
        "tank was full that day or the day before."
    )
    columns = (SERIAL, TIME_OR_DAY, TOTAL, TANK_FULL)

    def take(self, rows, run):
        take_meter(run.memory["hung"], self.placed(rows, run), "table")

    def rows(self, organisation, since=None, through=None):
        return taking_out.meter(organisation, since, through)


CLOCKS_LOOKED_AT, CLOCKS_NAMED = timedelta(days=31), 5


class Series(_Readings):
    name, title, order = "series", L("Records finer than daily"), 230
    about = L("A row a unit and moment, from a logger: flow, irradiance, voltage, current, level, as far as measured.")
    columns = (SERIAL, TIME, FLOW, SUN, VOLTS, AMPS, LEVEL)
    replaces = L("Replace the days that this file covers: what stood there of the logger is dropped, not merged with")

    def take(self, rows, run):
        hung, names = run.memory["hung"], ("flow_l_min", "irradiance_w_m2", "voltage_v", "current_a", "level_m")
        found = _need(self.placed(rows, run), names, _("No reading stands here."))
        if not found:
            return
        days, seconds = _local(hung, found)
        columns = {name: _column(found, name) for name in names}
        ids = _ids(hung, found)
        told = run.memory.setdefault("sampled", {})
        for row, pk, day in zip((one[0] for one in found), ids.tolist(), days.astype(object).tolist(), strict=True):
            _serial, first, last = told.get(pk, (row["serial"], day, day))
            told[pk] = (row["serial"], min(first, day), max(last, day))
        replacing = self._replacing(run)
        before = (set(replacing.done), replacing.dropped) if replacing else ()
        try:
            kept = keep_series(
                installations=ids, days=days, seconds=seconds, replacing=replacing,
                columns={name: values for name, values in columns.items() if np.isfinite(values).any()},
            )  # fmt: skip
        except DatabaseError:
            if replacing:  # what these rows had dropped stands again
                replacing.done, replacing.dropped = before
            raise
        # Kept counts days; a day in which something is new makes its rows new.
        share = np.array([kept.new, kept.changed, kept.same], dtype=float)
        outcome = ("new", "changed", "same")[int(share.argmax())]
        for row, _place, _moment in found:
            row.outcome = outcome

    def _replacing(self, run):
        if not run.replace:
            return None
        why = _("Replaced by a table that was brought in.")
        return run.lasting.setdefault("replacing", Replacing(by=run.by, why=why))

    def finish(self, run):
        """Loggers whose clock does not go with the sun are named, a few of them with all that can be said."""
        sampled = run.memory.get("sampled")
        if (replacing := run.lasting.get("replacing")) and replacing.dropped:
            run.notes.append(ngettext(
                "What stood of %(days)s day is replaced; it is kept beside, and can be put back.",
                "What stood of %(days)s days is replaced; it is kept beside, and can be put back.", replacing.dropped,
            ) % {"days": replacing.dropped})  # fmt: skip
        if not sampled:
            return
        newest = max(last for _serial, _first, last in sampled.values())
        first = max(min(first for _serial, first, _last in sampled.values()), newest - CLOCKS_LOOKED_AT)
        wrong = sorted((sampled[pk][0], off) for pk, off in clocks_of(list(sampled), first, newest).items())
        run.notes += [f"{serial}: {off.sentence()}" for serial, off in wrong[:CLOCKS_NAMED]]
        if more := ", ".join(serial for serial, _off in wrong[CLOCKS_NAMED:]):
            run.notes.append(_("The same must be looked at with these: %(serials)s.") % {"serials": more})

    def rows(self, organisation, since=None, through=None):
        return taking_out.series(organisation, since, through)


KINDS = {"meter": L("meter"), "daily": L("daily"), "noon": L("noon")}


class Mixed(_Readings):
    name, title, order = "readings", L("Readings of several kinds in one file"), 240
    about = L("A row a reading; the column “kind” says whether it is a meter total, a day's volume or a noon record.")
    columns = (
        SERIAL, TIME_OR_DAY, Column("kind", L("Kind"), choice(KINDS), required=True), TOTAL, VOLUME, IRRADIATION, VOLTS,
        AMPS, SUN, LEVEL, TANK_FULL,
    )  # fmt: skip

    def take(self, rows, run):
        hung, found = run.memory["hung"], self.placed(rows, run)
        by_kind = {kind: [one for one in found if one[0]["kind"] == kind] for kind in KINDS}
        take_daily(hung, by_kind["daily"])
        take_noon(hung, by_kind["noon"])
        take_meter(hung, by_kind["meter"], "table")

    def rows(self, organisation, since=None, through=None):
        return taking_out.mixed(organisation, since, through)


SPOT_COLUMNS = (
    SERIAL, TIME,
    Column("kind", L("Kind"), choice(dict(SpotTest.Kind.choices)), example="commissioning"),
    Column("sun_by", L("Irradiance got from"), choice(dict(SpotTest.SunBy.choices)), example="reference_cell"),
    SUN,
    Column("module_isc_a", L("Module short-circuit current"), number("a", 0, 30, "8.1")),
    Column("cell_c", L("Cell temperature, °C"), number("", -20, 110, "48")),
    Column("air_c", L("Air, °C"), number("", -20, 60, "31"), aliases=("ambient", "air temperature", "ambient_c")),
    VOLTS, AMPS,
    Column("output_voltage_v", L("Voltage at the box's output"), number("v", 0, 1000, "44")),
    Column("output_current_a", L("Current at the box's output"), number("a", 0, 200, "5.2")),
    Column("flow_by", L("Flow measured by"), choice(dict(SpotTest.FlowBy.choices)), example="bucket"),
    FLOW,
    Column("meter_flow_l_min", L("Flow by the meter beside the bucket"), number("l/min", 0, 2000, "13.9")),
    Column("bucket_l", L("Bucket"), number("l", 0, 1000, "20"), aliases=("litres in the bucket",)),
    Column("seconds", L("Seconds to fill it"), number("", 0, 7200, "84.5")),
    Column("no_water", L("No water came"), yes_no, note=L("with the minutes that it was watched"),
           aliases=("no water", "dry")),
    Column("watched_min", L("Minutes watched without water"), number("min", 0, 600, "5"),
           aliases=("watched", "minutes watched")),
    Column("static_level_m", L("Static level below datum"), number("m", -5, 500, "22.4")),
    Column("pumping_level_m", L("Pumping level below datum"), number("m", -5, 500, "24.0")),
    Column("first_water_min", L("Minutes to first water"), number("min", 0, 600, "3.5"),
           aliases=("minutes to first water",)),
    Column("insulation_mohm", L("Insulation"), number("mohm", 0, 1e6, "110"), aliases=("insulation",)),
    Column("loop_ohm", L("Loop resistance, ohm"), number("", 0, 1000, "1.8")),
    Column("instrument", L("Instruments"), text(200), example="cell 4, clamp 2"),
    Column("notes", L("Notes"), text(2000), example="clear sky"),
)  # fmt: skip


class SpotTests(_Readings):
    name, title, order, chunk = "spot_tests", L("Spot tests"), 250, 2000
    about = L("A row a set of readings taken in the same minutes: sun, volts, amps, flow, level.")
    columns = SPOT_COLUMNS

    def take(self, rows, run):
        hung = run.memory["hung"]
        tests, kept_rows = [], []
        for row, place, _moment in self.placed(rows, run):
            values = {k: v for k, v in row.values.items() if k not in ("serial", "at", "moment", "bucket_l", "seconds")}
            values["array_voltage_v"] = values.pop("voltage_v", None)
            values["array_current_a"] = values.pop("current_a", None)
            if row["bucket_l"] is not None and row["seconds"]:
                values["repeats"] = [{"litres": row["bucket_l"], "seconds": row["seconds"]}]
            try:
                values = without_water(values)
            except Refused as refusal:
                row.fault(refusal.field, str(refusal))
                continue
            tests.append({"installation_id": int(hung.ids[place]), "at": row["moment"], **values})
            kept_rows.append(row)
        for row, outcome in zip(kept_rows, keep_spot_tests(tests), strict=True):
            row.outcome = outcome

    def rows(self, organisation, since=None, through=None):
        return taking_out.spot_tests(organisation, [c.name for c in self.columns], since, through)


for table in (Meter, Daily, Noon, Series, Mixed, SpotTests):
    register(table())
