"""The weather around by the API: places whose sky is known, and what a file of another brings."""

from drf_spectacular.utils import extend_schema
from rest_framework import generics, serializers, status
from rest_framework.parsers import MultiPartParser
from rest_framework.response import Response

from fleet.output import forms, services
from fleet.people import rest
from fleet.readings.models import WeatherPlace

TAGS = ["judgement"]
BRINGS = rest.doing("import")


class WeatherPlaceRecord(serializers.ModelSerializer):
    """A place near the wells whose daily sun is known, with the days that are."""

    first = serializers.DateField(allow_null=True, read_only=True, help_text="first day known")
    last = serializers.DateField(allow_null=True, read_only=True, help_text="last day known")
    known = serializers.IntegerField(read_only=True, help_text="days known")
    relative_error = serializers.FloatField(help_text="one sigma of a day's irradiation over the truth")

    class Meta:
        model = WeatherPlace
        fields = ["id", "name", "latitude_deg", "longitude_deg", "source", "relative_error", "covers_km", "first",
                  "last", "known"]  # fmt: skip


class WeatherFileIn(serializers.Serializer):
    """A file as a weather service gives it: hourly values of one place."""

    file = serializers.FileField()
    kind = serializers.ChoiceField(choices=[])
    name = serializers.CharField(max_length=80)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = forms.WeatherForm.base_fields["kind"].choices

    def validate_file(self, file):
        if file.size > forms.MOST_WEATHER_BYTES:
            raise serializers.ValidationError(forms.WEATHER_TOO_LARGE)
        return file


class WeatherKept(serializers.Serializer):
    name = serializers.CharField()
    new = serializers.IntegerField()
    changed = serializers.IntegerField()
    same = serializers.IntegerField()
    left_out = serializers.IntegerField(help_text="days that were not whole")


class Weather(generics.ListAPIView):
    permission_classes = BRINGS
    parser_classes = [MultiPartParser]
    serializer_class = WeatherPlaceRecord
    queryset = WeatherPlace.objects.none()
    key_order = ["name"]

    def get_queryset(self):
        return services.weather_places(self.request.user.organisation).order_by()

    @extend_schema(tags=TAGS)
    def get(self, request):
        """Places whose weather is known, by name."""
        return self.list(request)

    @extend_schema(tags=TAGS, request=WeatherFileIn, responses={201: WeatherKept})
    def post(self, request):
        """Bring in a file of one place. Sent twice changes nothing."""
        said = rest.typed(WeatherFileIn, request)
        content = said.pop("file").read()
        days, kept = services.import_weather(
            organisation=request.user.organisation, content=content, by=request.user, **said
        )
        answer = {"name": said["name"], "new": kept.new, "changed": kept.changed, "same": kept.same,
                  "left_out": days.left_out}  # fmt: skip
        return Response(WeatherKept(answer).data, status=status.HTTP_201_CREATED)


class OneWeatherPlace(generics.RetrieveAPIView):
    permission_classes = BRINGS
    serializer_class = WeatherPlaceRecord
    queryset = WeatherPlace.objects.none()

    def get_queryset(self):
        return services.weather_places(self.request.user.organisation)

    @extend_schema(tags=TAGS)
    def get(self, request, pk):
        """One place whose weather is known."""
        return self.retrieve(request, pk)

    @extend_schema(tags=TAGS, responses={204: None})
    def delete(self, request, pk):
        """Forget the weather of this place; what was judged by it stays until something new comes in."""
        services.forget_weather(place=self.get_object(), by=request.user)
        return Response(status=status.HTTP_204_NO_CONTENT)
