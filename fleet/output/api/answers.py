"""What is worked out when it is asked: the working of a day, what a spot test should show, the one setting."""

import math
from datetime import date

from django.shortcuts import get_object_or_404
from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.output import services, setting
from fleet.output.api import shapes
from fleet.people import rest
from fleet.people.services import set_false_alarms
from fleet.readings.models import SpotTest
from fleet.readings.services import check_limits, keep_spot_test
from fleet.readings.services.clock import zone_of
from fleet.registry.models import Installation

TAGS = ["judgement"]
ASKED = {"irradiance_w_m2": (0, 1600), "static_level_m": (-5, 500), "pumping_level_m": (-5, 500),
         "air_c": (-20, 60), "flow_l_min": (0, 2000), "array_voltage_v": (0, 1000), "array_current_a": (0, 200),
         "output_voltage_v": (0, 1000), "output_current_a": (0, 200), "meter_flow_l_min": (0, 2000),
         "loop_ohm": (0, 1000), "first_water_min": (0, 600),
         "module_isc_a": (0, 30), "cell_c": (-20, 110)}  # fmt: skip


def _installation(request, pk):
    found = Installation.objects.visible_to(request.user).select_related("unit__pump_type", "well__site__district")
    return get_object_or_404(found, pk=pk)


def _figure(value):
    """A figure that JSON can hold; numbers of arrays become plain ones."""
    if isinstance(value, str) or value is None:
        return value
    if isinstance(value, date):
        return value.isoformat()
    value = float(value)
    return value if math.isfinite(value) else None


class Working(APIView):
    permission_classes = rest.READS

    @extend_schema(
        tags=TAGS, responses=shapes.WorkingShape,
        parameters=[rest.day("day", "the site's own day; left out: today"),
                    rest.figure("sun_kwh_m2", 0.05, 12, "on level ground; left out: the usual of that month")],
    )  # fmt: skip
    def get(self, request, pk):
        """Every number of the calculation for one installation and day, with formula, source and origin."""
        installation, asked = _installation(request, pk), rest.Asked(request)
        day = asked.day("day") or timezone.now().astimezone(zone_of(installation)).date()
        found = services.working(installation, day, asked.figure("sun_kwh_m2", 0.05, 12))
        level, judged = found["own_level"], found["evaluation"]
        return Response({
            "installation": installation.pk, "serial": installation.unit.serial, "day": day,
            "sun_kwh_m2": _figure(found["sun_kwh_m2"]), "sun_source": str(found["sun_source"]),
            "climate_band": _figure(found["climate_band"]),
            "own_level": {"share": level.share, "sigma": level.sigma, "tests": level.tests, "judged": level.judged},
            "steps": [step._asdict() | {"value": _figure(step.value)} for step in found["steps"]],
            "inputs": [
                {"name": one.name, "label": one.label, "value": _figure(one.value), "shown": one.shown,
                 "stands_with": one.owner, "taken_as_usual": one.usual}
                for one in found["inputs"]
            ],
            "hours": vars(found["hours"]) | {"first_water_min": _figure(found["hours"].first_water_min)},
            "frame_costs": [vars(cost) for cost in found["frame_costs"]],
            "evaluation": shapes.EvaluationRecord(judged).data if judged else None,
        })  # fmt: skip


class Expected(APIView):
    permission_classes = rest.READS

    @extend_schema(
        tags=TAGS, responses=shapes.AnswerShape,
        parameters=[*(rest.figure(name, *limits) for name, limits in ASKED.items()),
                    rest.words("sun_by", "how the irradiance was got", SpotTest.SunBy.values),
                    rest.words("flow_by", "", SpotTest.FlowBy.values), rest.moment("at", "left out: now")],
    )  # fmt: skip
    def get(self, request, pk):
        """What flow is right for a given sun and level, with its range; with flow_l_min, what to think of it."""
        installation, asked = _installation(request, pk), rest.Asked(request)
        values = {name: asked.figure(name, *limits) for name, limits in ASKED.items()}
        values |= {"sun_by": asked.choice("sun_by", SpotTest.SunBy.values) or "reference_cell",
                   "flow_by": asked.choice("flow_by", SpotTest.FlowBy.values) or "bucket",
                   "at": asked.moment("at") or timezone.now()}  # fmt: skip
        check_limits(values)
        return Response(shapes.AnswerShape(_plain(services.answer_spot(installation, values))).data)


def _plain(answer):
    """Only what the shape names, figures made plain."""
    answer = {name: answer[name] for name in shapes.AnswerShape().fields if name in answer}
    for name in ("ratio", "irradiance_w_m2", "static_level_m", "measured_l_min"):
        if name in answer:
            answer[name] = _figure(answer[name])
    return answer


def _with_causes(test):
    """The answer of a kept test, and where it falls short the odds of the causes beside it."""
    answer = _plain(services.answer_spot(test.installation, test))
    causes = services.causes_of_test(test, answer["verdict"])
    return answer | ({} if causes is None else {"causes": causes["causes"]})


class AnswerOfTest(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=TAGS, responses=shapes.AnswerShape)
    def get(self, request, pk):
        """A kept spot test answered: the expected range, the verdict, where the water is lost."""
        tests = SpotTest.objects.visible_to(request.user).select_related("installation__well__site")
        test = get_object_or_404(tests, pk=pk)
        return Response(shapes.AnswerShape(_with_causes(test)).data)


class AddSpotTest(APIView):
    permission_classes = rest.doing("log")

    @extend_schema(tags=TAGS, request=shapes.SpotIn, responses={200: shapes.KeptSpot, 201: shapes.KeptSpot})
    def post(self, request, pk):
        """Enter a spot test and be told at once whether it is right for this sun and level."""
        installation = _installation(request, pk)
        said = rest.typed(shapes.SpotIn, request)
        said["repeats"] = [dict(repeat) for repeat in said.get("repeats", [])]
        test, new = keep_spot_test(installation=installation, by=request.user, **said)
        services.look_at_tests([installation.pk])
        answer = _with_causes(test)
        body = {"id": test.pk, "key": test.key, "new": new, "answer": answer, "doubts": test.slips.waiting()}
        return Response(shapes.KeptSpot(body).data, status=status.HTTP_201_CREATED if new else status.HTTP_200_OK)


class Alarms(rest.ByMethod, APIView):
    writing = rest.doing("set_alarms")

    def shown(self, request):
        now = request.user.organisation.false_alarms_per_100_unit_years
        return Response({
            "false_alarms_per_100_unit_years": now, "days_to_notice": setting.table(now),
            "said_and_found": services.said_and_found(request.user.organisation_id),
            "findings_heard": services.findings_heard(request.user.organisation_id),
        })  # fmt: skip

    @extend_schema(tags=TAGS, responses=shapes.AlarmsShape)
    def get(self, request):
        """How many false alarms a year the fleet bears, and what that costs in days to notice."""
        return self.shown(request)

    @extend_schema(tags=TAGS, request=shapes.AlarmsIn, responses=shapes.AlarmsShape)
    def put(self, request):
        """Set how many false alarms a year a hundred units may raise; it counts from the next night on."""
        wanted = rest.typed(shapes.AlarmsIn, request)["false_alarms_per_100_unit_years"]
        set_false_alarms(by=request.user, organisation=request.user.organisation, per_100_unit_years=wanted)
        request.user.organisation.refresh_from_db()
        return self.shown(request)
