"""How readings leave by the API: named fields only, so that no column leaks."""

from rest_framework import serializers

from fleet.readings.models import DayRecord, DaySeries, DroppedDays, MeterReading, Slip, SpotTest
from fleet.web.rest import Figure, Moment


def serial():
    return serializers.CharField(source="installation.unit.serial", read_only=True)


SPOT = [
    "id", "key", "installation", "serial", "kind", "at", "sun_by", "irradiance_w_m2", "module_isc_a", "cell_c", "air_c",
    "array_voltage_v", "array_current_a", "output_voltage_v", "output_current_a", "flow_by", "flow_l_min", "repeats",
    "meter_flow_l_min", "static_level_m", "pumping_level_m", "first_water_min", "main_was_full", "insulation_mohm",
    "loop_ohm", "string_voltages_v", "string_currents_a", "no_water", "watched_min",
    "instrument", "notes", "standing",
]  # fmt: skip


class SpotTestRecord(serializers.ModelSerializer):
    serial = serial()
    no_water = serializers.BooleanField(read_only=True, help_text="the flow is nought: somebody watched and none came")

    class Meta:
        model = SpotTest
        fields = SPOT
        read_only_fields = fields


class MeterRecord(serializers.ModelSerializer):
    serial = serial()

    class Meta:
        model = MeterReading
        fields = [
            "id", "installation", "serial", "at", "hour_known", "total_l", "new_meter", "rolled_over", "tank_full_seen",
            "standing", "source",
        ]  # fmt: skip
        read_only_fields = fields


class DayRecordShape(serializers.ModelSerializer):
    """One local day of an installation as it was reported. Null: not reported."""

    installation = serializers.IntegerField(source="installation_id", read_only=True)
    serial = serial()

    class Meta:
        model = DayRecord
        fields = [
            "installation", "serial", "day", "volume_l", "irradiation_kwh_m2", "tank_full_seen", "standing", "derived",
        ]  # fmt: skip
        read_only_fields = fields


class NoonRecordShape(serializers.ModelSerializer):
    """The mean of the quarter hour at solar noon. Null: not reported."""

    installation = serializers.IntegerField(source="installation_id", read_only=True)
    serial = serial()

    class Meta:
        model = DayRecord
        fields = [
            "installation", "serial", "day", "noon_irradiance_w_m2", "noon_voltage_v", "noon_current_a", "noon_level_m",
            "noon_standing", "derived",
        ]  # fmt: skip
        read_only_fields = fields


def _samples():
    return serializers.ListField(child=serializers.FloatField(allow_null=True), allow_null=True, read_only=True)


class SeriesShape(serializers.ModelSerializer):
    """The samples of one local day: `second` counts from the day's beginning; the other lists run beside it."""

    installation = serializers.IntegerField(source="installation_id", read_only=True)
    serial = serial()
    second = serializers.ListField(child=serializers.IntegerField(), read_only=True)
    flow_l_min = _samples()
    irradiance_w_m2 = _samples()
    voltage_v = _samples()
    current_a = _samples()
    level_m = _samples()

    class Meta:
        model = DaySeries
        fields = [
            "installation", "serial", "day", "second", "flow_l_min", "irradiance_w_m2", "voltage_v", "current_a",
            "level_m",
        ]  # fmt: skip
        read_only_fields = fields


class SlipRecord(serializers.ModelSerializer):
    serial = serial()
    why = serializers.CharField(source="reason", read_only=True)
    will = serializers.CharField(
        read_only=True, help_text="what settling it as suggested does; empty where nothing is suggested"
    )
    other_serial = serializers.CharField(source="other.unit.serial", read_only=True, allow_null=True, default=None)
    settled_by = serializers.CharField(source="settled_by.username", read_only=True, allow_null=True, default=None)

    decision = serializers.IntegerField(
        source="decision_id", read_only=True, allow_null=True,
        help_text="what settled it, by which it is taken back; stays after that. Null: never settled, or not known",
    )  # fmt: skip
    taken_back_by = serializers.CharField(
        source="decision.taken_back_by.username", read_only=True, allow_null=True, default=None
    )
    taken_back_at = serializers.DateTimeField(
        source="decision.taken_back_at", read_only=True, allow_null=True, default=None
    )

    class Meta:
        model = Slip
        fields = [
            "id", "installation", "serial", "other_serial", "subject", "at", "field", "found", "suggested", "kind",
            "why", "will", "state", "settled_by", "settled_at", "decision", "taken_back_by", "taken_back_at",
        ]  # fmt: skip
        read_only_fields = fields


class SettleIn(serializers.Serializer):
    """What becomes of a figure in doubt."""

    how = serializers.ChoiceField(choices=["as_suggested", "other", "keep", "aside"])
    value = Figure(required=False, allow_null=True, default=None, help_text="the right figure, with “other”")


class TakeBackIn(serializers.Serializer):
    """Which settling is taken back: named, so that the same request sent twice takes back no later one."""

    decision = serializers.IntegerField(min_value=1, max_value=2**63 - 1, help_text="as it stands at the figure")


class MeterIn(serializers.Serializer):
    """One figure of a meter, with the hour (`at`) or the day alone where nobody wrote the hour down."""

    at = Moment(required=False, help_text="with its offset from UTC")
    day = serializers.DateField(required=False)
    total_l = Figure(min_value=0, max_value=1e10)
    new_meter = serializers.BooleanField(required=False, default=False)
    tank_full_seen = serializers.BooleanField(required=False, allow_null=True, default=None)
    as_written = serializers.BooleanField(
        required=False, default=False, help_text="lower than the one before, and looked at twice"
    )


class DropIn(serializers.ModelSerializer):
    """Which days, by the site's own calendar, both ends included, and why: it stays on record."""

    class Meta:
        model = DroppedDays
        fields = ["first_day", "last_day", "why"]
        validators = []


class DroppedShape(serializers.ModelSerializer):
    """Days of a logger that were dropped. `put_back_at` null: they still are."""

    by = serializers.CharField(source="by.username", read_only=True, allow_null=True, default=None)
    put_back_by = serializers.CharField(source="put_back_by.username", read_only=True, allow_null=True, default=None)

    class Meta:
        model = DroppedDays
        fields = [
            "id", "installation", "first_day", "last_day", "days", "why", "by", "at", "put_back_by", "put_back_at",
        ]  # fmt: skip
        read_only_fields = fields


class MissingShape(serializers.Serializer):
    """Of daily records the first and last day without one; of a meter the days on which it was read before and after.

    `last` is null where the meter has not been read since; `usual_days` lie between two of its readings.
    """

    first = serializers.DateField()
    last = serializers.DateField(allow_null=True)
    days = serializers.IntegerField()
    usual_days = serializers.IntegerField(allow_null=True)


class SaidShape(serializers.Serializer):
    """One thing to mend, and where it stands: the line of a CSV file, or the record of a JSON list and its path."""

    code = serializers.CharField()
    field = serializers.CharField(allow_null=True)
    sentence = serializers.CharField()
    found = serializers.CharField(required=False)
    line = serializers.IntegerField(required=False, help_text="CSV: line of the file, the heads are line 1")
    record = serializers.IntegerField(required=False, allow_null=True, help_text="JSON and SenML: counted from 1")
    path = serializers.CharField(required=False, help_text="JSON and SenML: a JSON Pointer (RFC 6901)")


class BroughtShape(serializers.Serializer):
    """What became of the rows. With errors nothing is kept, unless the good rows were asked for (keep_good)."""

    rows = serializers.IntegerField(help_text="SenML: rows made of the records, one a unit, moment and kind")
    new = serializers.IntegerField()
    changed = serializers.IntegerField()
    same = serializers.IntegerField()
    rejected = serializers.IntegerField(help_text="rows with errors; SenML: records with errors")
    records = serializers.IntegerField(allow_null=True, help_text="SenML: records sent")
    kept = serializers.BooleanField()
    ignored = serializers.ListField(child=serializers.CharField(), help_text="JSON: names that no column has")
    notes = serializers.ListField(child=serializers.CharField())
    errors = SaidShape(many=True)
    warnings = SaidShape(many=True)
