"""The verbs that hang a unit, move it and take it out; and the short code on its label."""

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.people import rest
from fleet.registry import services
from fleet.registry.api import shapes, typed
from fleet.registry.api.lists import EDITS, LOGS, TAGS, whole_installations, whole_units
from fleet.registry.models import Installation, Label, Unit
from fleet.web.refusals import Refused


class OfUnit(APIView):
    permission_classes = LOGS

    def unit(self, request, pk):
        return get_object_or_404(Unit.objects.visible_to(request.user).select_related("pump_type"), pk=pk)

    def hung(self, made):
        """The new installation, with the rules of the trade as warnings: they never stand in the way."""
        fresh = whole_installations().get(pk=made.pk)
        return Response(shapes.InstallationWholeShape(fresh).data, status=status.HTTP_201_CREATED)

    def shown(self, unit):
        return Response(shapes.UnitWholeShape(whole_units().get(pk=unit.pk)).data)


def _well(person, said):
    """The well that was said, by its site's code and its name."""
    name = said.pop("well", None)
    try:
        return services.find_well(organisation=person.organisation_id, site=said.pop("site"), name=name)
    except Refused as refusal:
        raise ValidationError({refusal.field: [ErrorDetail(str(refusal), refusal.code)]}) from None


class Install(OfUnit):
    @extend_schema(tags=TAGS, request=typed.InstallIn, responses={201: shapes.InstallationWholeShape})
    def post(self, request, pk):
        """Hang a stored unit in an empty well."""
        unit, said = self.unit(request, pk), rest.typed(typed.InstallIn, request)
        well = _well(request.user, said)
        return self.hung(services.install(unit=unit, well=well, by=request.user, **said))


class Relocate(OfUnit):
    @extend_schema(tags=TAGS, request=typed.RelocateIn, responses={201: shapes.InstallationWholeShape})
    def post(self, request, pk):
        """Move a unit to another well: one installation ends and the next begins at the same moment.

        Modules, pipe and cable types and the controller are taken over where nothing else is said.
        """
        unit, said = self.unit(request, pk), rest.typed(typed.RelocateIn, request)
        well = _well(request.user, said)
        return self.hung(services.relocate(unit=unit, well=well, by=request.user, **said))


class TakeOut(OfUnit):
    @extend_schema(tags=TAGS, request=typed.EndIn, responses=shapes.UnitWholeShape)
    def post(self, request, pk):
        """Out of its well and into store; the installation ends and its history stays."""
        unit = self.unit(request, pk)
        services.take_out(unit=unit, by=request.user, **rest.typed(typed.EndIn, request))
        return self.shown(unit)


class Retire(OfUnit):
    @extend_schema(tags=TAGS, request=typed.RetireIn, responses=shapes.UnitWholeShape)
    def post(self, request, pk):
        """Retire a unit for good; where it hangs it is taken out."""
        unit = self.unit(request, pk)
        services.retire(unit=unit, by=request.user, **rest.typed(typed.RetireIn, request))
        return self.shown(unit)


class Store(OfUnit):
    permission_classes = EDITS

    @extend_schema(tags=TAGS, request=None, responses=shapes.UnitWholeShape)
    def post(self, request, pk):
        """A retired unit comes back into store."""
        unit = self.unit(request, pk)
        services.put_in_store(unit=unit, by=request.user)
        return self.shown(unit)


# -- labels ------------------------------------------------------------------------------------------------------------


def _label(unit, code):
    hangs = Installation.objects.hanging().filter(unit=unit).select_related("well__site").first()
    return {"code": code, "unit": unit.pk, "serial": unit.serial, "installation": hangs and hangs.pk,
            "site": hangs and hangs.well.site.code}  # fmt: skip


class OneLabel(APIView):
    permission_classes = rest.READS

    @extend_schema(tags=TAGS, responses=shapes.LabelShape)
    def get(self, request, code):
        """The unit that a label's short code leads to; a code with a slip in it is refused by its check sign."""
        try:
            code = services.read_label(code)
        except Refused as refusal:
            raise ValidationError({"code": [ErrorDetail(str(refusal), refusal.code)]}) from refusal
        labels = Label.objects.filter(unit__in=Unit.objects.visible_to(request.user)).select_related("unit")
        return Response(shapes.LabelShape(_label(get_object_or_404(labels, code=code).unit, code)).data)


class LabelOf(OfUnit):
    permission_classes = rest.READS

    @extend_schema(tags=TAGS, request=None, responses=shapes.LabelShape)
    def post(self, request, pk):
        """The unit's short code, made at first asking."""
        unit = self.unit(request, pk)
        code = services.label_of(unit=unit, by=request.user).code
        return Response(shapes.LabelShape(_label(unit, code)).data)
