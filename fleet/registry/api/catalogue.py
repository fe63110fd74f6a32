"""The catalogue for programs: types and sizes, read and kept."""

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.response import Response

from fleet.people import rest
from fleet.registry import services
from fleet.registry.api import shapes, typed
from fleet.registry.api.lists import TAGS, Listed, One
from fleet.registry.models import Cable, District, ModuleType, Pipe, PumpType


def _shelf(of, out, typed_in, verb, argument, order, *, whole=None, prefetched=()):
    """(list, record) views of one kind of thing in the catalogue."""
    title = str(of._meta.verbose_name)
    name = of.__name__

    class Shelf(Listed):
        queryset, serializer_class, key_order = of.objects.none(), out, list(order)

        @extend_schema(tags=TAGS, parameters=[rest.words("name")], description=f"The catalogue: each {title}.")
        def get(self, request):
            return self.list(request)

        def narrowed(self, rows, asked):
            found = asked.text("name", 80)
            return rows.filter(name=found) if found else rows

        @extend_schema(tags=TAGS, request=typed_in, responses={201: whole or out}, description=f"A new {title}.")
        def post(self, request):
            made = verb(by=request.user, **rest.typed(typed_in, request))
            made.refresh_from_db()
            return Response((whole or out)(made).data, status=status.HTTP_201_CREATED)

    class Thing(One):
        queryset, serializer_class = of.objects.none(), whole or out

        def get_queryset(self):
            return super().get_queryset().prefetch_related(*prefetched)

        @extend_schema(tags=TAGS, description=f"One {title}.")
        def get(self, request, pk):
            return self.retrieve(request, pk)

        @extend_schema(tags=TAGS, request=typed_in, responses=whole or out, description=f"Correct a {title}.")
        def patch(self, request, pk):
            row = self.found()
            verb(by=request.user, **{argument: row}, **rest.typed(typed_in, request, partial=True))
            return self.shown(row)

    Shelf.__name__, Thing.__name__ = f"{name}List", f"One{name}"
    return Shelf, Thing


PumpTypes, OnePumpType = _shelf(
    PumpType, shapes.PumpTypeShape, typed.PumpTypeIn, services.keep_pump_type, "pump_type", ["name"],
    whole=shapes.PumpTypeWholeShape, prefetched=["points"],
)  # fmt: skip
ModuleTypes, OneModuleType = _shelf(
    ModuleType, shapes.ModuleTypeShape, typed.ModuleTypeIn, services.keep_module_type, "module_type", ["name"]
)
Pipes, OnePipe = _shelf(Pipe, shapes.PipeShape, typed.PipeIn, services.keep_pipe, "pipe", ["outside_mm", "wall_mm"])
Cables, OneCable = _shelf(Cable, shapes.CableShape, typed.CableIn, services.keep_cable, "cable", ["area_mm2"])
Districts, OneDistrict = _shelf(
    District, shapes.DistrictShape, typed.DistrictIn, services.keep_district, "district", ["name"]
)


class PumpPoints(OnePumpType):
    http_method_names = ["put", "options"]

    @extend_schema(tags=TAGS, request=typed.SheetIn, responses=shapes.PumpTypeWholeShape)
    def put(self, request, pk):
        """The type's whole test sheet."""
        row = self.found()
        points = [dict(point) for point in rest.typed(typed.SheetIn, request)["points"]]
        services.keep_pump_points(pump_type=row, points=points, by=request.user)
        return self.shown(row)
