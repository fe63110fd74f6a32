"""How visits, calls, trips, procedures and findings leave by the API: named fields only, so that no column leaks."""

from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from fleet.visits.models import (
    Base,
    Call,
    FieldDevice,
    Finding,
    InspectionRule,
    PartType,
    PartUse,
    Photo,
    Procedure,
    StepRecord,
    Trip,
    Visit,
)
from fleet.web.rest import Figure, Moment


class CallOut(serializers.ModelSerializer):
    site = serializers.SlugRelatedField(slug_field="code", read_only=True)

    class Meta:
        model = Call
        fields = ["id", "site", "at", "caller", "phone", "words", "answers", "state", "call_back_on"]
        read_only_fields = fields


class ProcedureOut(serializers.ModelSerializer):
    class Meta:
        model = Procedure
        fields = ["id", "kind", "version", "title", "in_use", "steps"]
        read_only_fields = fields


class RuleOut(serializers.ModelSerializer):
    class Meta:
        model = InspectionRule
        fields = ["id", "name", "basis", "amount", "active"]
        read_only_fields = fields


class FindingOut(serializers.ModelSerializer):
    visit = serializers.UUIDField(source="visit.key", read_only=True)
    site = serializers.CharField(source="visit.site.code", read_only=True)

    class Meta:
        model = Finding
        fields = [
            "id", "key", "visit", "site", "item", "failure_mode", "mechanism", "cause", "detection", "action", "words",
            "warranty", "confirmed", "noted_at", "taken_back_at", "taken_back_why",
        ]  # fmt: skip
        read_only_fields = fields


class PartTypeOut(serializers.ModelSerializer):
    class Meta:
        model = PartType
        fields = ["id", "code", "name", "for_causes"]
        read_only_fields = fields


class BaseOut(serializers.ModelSerializer):
    class Meta:
        model = Base
        fields = ["id", "name", "latitude_deg", "longitude_deg"]
        read_only_fields = fields


class TelephoneOut(serializers.ModelSerializer):
    person = serializers.CharField(source="person.username", read_only=True)
    shut_out_by = serializers.CharField(source="shut_out_by.username", read_only=True, allow_null=True, default=None)

    class Meta:
        model = FieldDevice
        fields = [
            "id", "name", "person", "app_version", "first_seen_at", "last_seen_at", "packed_at", "waiting",
            "shut_out_at", "shut_out_by",
        ]  # fmt: skip
        read_only_fields = fields


class PartUseOut(serializers.ModelSerializer):
    part = serializers.CharField(source="part_type.code", read_only=True)

    class Meta:
        model = PartUse
        fields = ["key", "part", "quantity", "serial_out", "serial_in", "was_aboard"]
        read_only_fields = fields


class RecordOut(serializers.ModelSerializer):
    replaces = serializers.UUIDField(source="replaces.key", read_only=True, allow_null=True)

    class Meta:
        model = StepRecord
        fields = ["key", "step", "values", "passed", "skipped_why", "cautions_seen", "at", "replaces"]
        read_only_fields = fields


class VisitOut(serializers.ModelSerializer):
    site = serializers.SlugRelatedField(slug_field="code", read_only=True)
    serial = serializers.CharField(source="installation.unit.serial", read_only=True, allow_null=True, default=None)
    technician = serializers.SlugRelatedField(slug_field="username", read_only=True)

    class Meta:
        model = Visit
        fields = [
            "key", "site", "serial", "kind", "why", "state", "due_on", "planned_on", "technician", "trip", "version",
            "arrived_at", "left_at", "outcome", "closed_at", "shortfall", "call", "rule",
        ]  # fmt: skip
        read_only_fields = fields


class WholeVisitOut(VisitOut):
    records = RecordOut(many=True, read_only=True)
    findings = FindingOut(many=True, read_only=True)
    parts = PartUseOut(many=True, read_only=True)
    photos = serializers.SerializerMethodField()
    spot_tests = serializers.SerializerMethodField()

    class Meta(VisitOut.Meta):
        fields = [
            *VisitOut.Meta.fields, "km", "caretaker_words", "not_done", "cancelled_why", "procedure", "records",
            "findings", "parts", "photos", "spot_tests",
        ]  # fmt: skip
        read_only_fields = fields

    def get_photos(self, visit) -> list[str]:
        return [f"/api/v1/photos/{photo.key}/" for photo in visit.photos.all()]

    def get_spot_tests(self, visit) -> list[dict]:
        return [
            {"key": str(link.spot_test.key), "kind": link.spot_test.kind, "at": link.spot_test.at.isoformat(),
             "answer": link.answer}
            for link in visit.spot_tests.all()
        ]  # fmt: skip


class TripOut(serializers.ModelSerializer):
    technician = serializers.SlugRelatedField(slug_field="username", read_only=True)
    visits = serializers.SerializerMethodField()

    class Meta:
        model = Trip
        fields = ["id", "day", "technician", "planned_km", "km", "notes", "visits"]
        read_only_fields = fields

    def get_visits(self, trip) -> list[str]:
        return [str(v.key) for v in sorted(trip.visits.all(), key=lambda v: (v.trip_order or 0, v.pk))]


class AssignIn(serializers.Serializer):
    technician = serializers.CharField(max_length=150, help_text="log-in name")
    on = serializers.DateField()
    version = serializers.IntegerField(required=False, min_value=1, max_value=2**31 - 1)


class WhyIn(serializers.Serializer):
    why = serializers.CharField(max_length=300)


class ProposeIn(serializers.Serializer):
    site = serializers.CharField(max_length=24, help_text="site code")
    kind = serializers.ChoiceField(choices=Visit.Kind.choices)
    why = serializers.CharField(max_length=300, required=False, default="", allow_blank=True)
    due_on = serializers.DateField(required=False, default=None, allow_null=True)


class StepIn(serializers.Serializer):
    key = serializers.UUIDField(required=False)
    step = serializers.CharField(max_length=40)
    values = serializers.DictField(required=False, default=dict)
    skipped_why = serializers.CharField(max_length=300, required=False, default="", allow_blank=True)
    cautions_seen = serializers.ListField(child=serializers.CharField(max_length=20), required=False, default=list)


class FindingIn(serializers.Serializer):
    key = serializers.UUIDField(required=False)
    failure_mode = serializers.CharField(max_length=24)
    cause = serializers.CharField(max_length=24)
    action = serializers.CharField(max_length=24)
    item = serializers.CharField(max_length=24, required=False, default="", allow_blank=True)
    mechanism = serializers.CharField(max_length=24, required=False, default="", allow_blank=True)
    detection = serializers.CharField(max_length=24, required=False, default="", allow_blank=True)
    words = serializers.CharField(max_length=4000, required=False, default="", allow_blank=True)
    warranty = serializers.BooleanField(required=False, default=False)
    confirmed = serializers.BooleanField(required=False, default=True)


class LeaveIn(serializers.Serializer):
    km = Figure(required=False, default=None, allow_null=True, min_value=0, max_value=5000)
    caretaker_words = serializers.CharField(required=False, default="", allow_blank=True, max_length=8000)
    not_done = serializers.CharField(required=False, default="", allow_blank=True, max_length=8000)


class CloseIn(serializers.Serializer):
    outcome = serializers.CharField(max_length=12)
    shortfall = serializers.ChoiceField(choices=["closes", "explains", "keeps"], required=False, default="")
    explained = serializers.CharField(max_length=300, required=False, default="", allow_blank=True)
    not_done = serializers.CharField(required=False, default="", allow_blank=True, max_length=8000)
    next_on = serializers.DateField(required=False, default=None, allow_null=True)


class SettleCallIn(serializers.Serializer):
    how = serializers.ChoiceField(choices=["by_phone", "close", "visit"])
    call_back_on = serializers.DateField(required=False, allow_null=True, default=None, help_text="with `by_phone`")
    kind = serializers.ChoiceField(
        choices=Visit.Kind.choices, required=False, default=Visit.Kind.REPAIR, help_text="with `visit`"
    )


class PartIn(serializers.Serializer):
    """A part in and a part out; a pump by its serial."""

    key = serializers.UUIDField(required=False)
    part = serializers.CharField(max_length=24, help_text="the part's code")
    quantity = serializers.IntegerField(required=False, default=1, min_value=1, max_value=1000)
    serial_out = serializers.CharField(max_length=40, required=False, default="", allow_blank=True)
    serial_in = serializers.CharField(max_length=40, required=False, default="", allow_blank=True)
    was_aboard = serializers.BooleanField(required=False, default=True)


class CallIn(serializers.Serializer):
    site = serializers.CharField(max_length=24, help_text="site code")
    words = serializers.CharField(max_length=4000)
    caller = serializers.CharField(max_length=120, required=False, default="", allow_blank=True)
    phone = serializers.CharField(max_length=20, required=False, default="", allow_blank=True)
    answers = serializers.DictField(child=serializers.CharField(max_length=300), required=False, default=dict)


@extend_schema_field({"type": "array", "items": {"type": "object"}, "maxItems": 100})
class AsTheyCame(serializers.Field):
    """Pieces: looked at one by one where they are kept, so that a strange one does not spoil the others."""

    def to_internal_value(self, data):
        if not isinstance(data, list) or not all(isinstance(piece, dict) for piece in data):
            raise serializers.ValidationError(_("A list of pieces is needed."), code="not_a_list")
        if len(data) > 100:
            raise serializers.ValidationError(_("At most %(n)d pieces at once.") % {"n": 100}, code="max_length")
        return data

    def to_representation(self, value):
        return value


class ProcedureIn(serializers.Serializer):
    """A whole procedure; each step is {code, title, text, needed, captures, rules, cautions}."""

    title = serializers.CharField(max_length=120)
    steps = serializers.ListField(child=serializers.DictField(), max_length=200)


class RuleIn(serializers.ModelSerializer):
    amount = Figure(help_text="of what `basis` counts; above zero")
    active = serializers.BooleanField(default=True)

    class Meta:
        model = InspectionRule
        fields = ["name", "basis", "amount", "active"]


class BaseIn(serializers.Serializer):
    name = serializers.CharField(max_length=80)
    latitude_deg = Figure(min_value=-90, max_value=90)
    longitude_deg = Figure(min_value=-180, max_value=180)


class TripIn(serializers.Serializer):
    km = Figure(required=False, allow_null=True, min_value=0, max_value=5000)
    notes = serializers.CharField(required=False, allow_blank=True, max_length=8000)


class MoveIn(serializers.Serializer):
    visit = serializers.UUIDField(help_text="key of a visit of this trip")
    way = serializers.ChoiceField(choices=["up", "down"])


class PhotoIn(serializers.Serializer):
    photo = serializers.FileField(help_text="an image, up to 25 MB")
    step = serializers.CharField(max_length=40, required=False, default="", allow_blank=True)
    key = serializers.UUIDField(required=False)
    caption = serializers.CharField(max_length=200, required=False, default="", allow_blank=True)
    taken_at = Moment(required=False)


class PhotoOut(serializers.ModelSerializer):
    address = serializers.SerializerMethodField()

    class Meta:
        model = Photo
        fields = ["key", "step", "caption", "taken_at", "address"]
        read_only_fields = fields

    def get_address(self, photo) -> str:
        return f"/api/v1/photos/{photo.key}/"


class OwedOut(serializers.Serializer):
    kind = serializers.ChoiceField(choices=["", "exchange", "relocation", "retirement"])
    unit = serializers.CharField(source="unit.serial", default=None, allow_null=True, help_text="serial")
    other = serializers.CharField(source="other.serial", default=None, allow_null=True, help_text="serial of the new")
    serial_in = serializers.CharField(default="", help_text="as written in the log")
    at = serializers.DateTimeField(default=None, allow_null=True)
    why = serializers.CharField(default="")
    scrapped = serializers.BooleanField(default=False)
    as_built = serializers.DictField(child=serializers.FloatField(), default=dict)


class EnterIn(serializers.Serializer):
    """`scrapped` speaks of the pump that came out; what follows it only of one that moved."""

    at = Moment(help_text="when, with its offset from UTC")
    why = serializers.CharField(max_length=200)
    scrapped = serializers.BooleanField(required=False, help_text="retired for good rather than into store")
    site = serializers.CharField(max_length=24, required=False, help_text="code of the new site")
    well = serializers.CharField(max_length=60, required=False, help_text="its name, where the site has several")
    setting_depth_m = Figure(required=False, min_value=0, max_value=400)
    pipe_length_m = Figure(required=False, min_value=0, max_value=400)
    rope_length_m = Figure(required=False, min_value=0, max_value=450)
    cable_length_m = Figure(required=False, min_value=0, max_value=500)
    tilt_deg = Figure(required=False, min_value=0, max_value=90)
    azimuth_deg = Figure(required=False, min_value=0, max_value=360)


class EnteredOut(serializers.Serializer):
    installation = serializers.IntegerField(allow_null=True, help_text="what hangs there now; none after an end")


class PiecesIn(serializers.Serializer):
    """Pieces in any order; each is {key, visit, version, kind, at, format, payload}."""

    device = serializers.UUIDField()
    name = serializers.CharField(max_length=120, required=False, default="", allow_blank=True)
    app = serializers.CharField(max_length=40, required=False, default="", allow_blank=True)
    waiting = serializers.IntegerField(required=False, default=None, allow_null=True, min_value=0, max_value=1_000_000)
    pieces = AsTheyCame()
    later = serializers.BooleanField(required=False, default=False, help_text="only keep them now; a worker goes on")
    asked = serializers.ListField(
        child=serializers.UUIDField(), required=False, default=list, max_length=500,
        help_text="with `later`: keys sent before, of which the state is wanted",
    )  # fmt: skip


class DeviceIn(serializers.Serializer):
    key = serializers.UUIDField(help_text="made on the telephone")
    name = serializers.CharField(max_length=120, required=False, default="", allow_blank=True)
    app = serializers.CharField(max_length=40, required=False, default="", allow_blank=True)


class OutcomeOut(serializers.Serializer):
    key = serializers.CharField()
    state = serializers.CharField()
    code = serializers.CharField()
    sentence = serializers.CharField()
