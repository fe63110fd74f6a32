"""What the rooms' API views share: paging by key, fields that are read safely, and one door for failures."""

import math
import re

from django.core.exceptions import ValidationError as DjangoValidationError
from django.http import Http404, JsonResponse
from django.shortcuts import redirect
from django.utils.translation import gettext, gettext_lazy
from django.views.decorators.csrf import csrf_exempt
from rest_framework import serializers, status
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.pagination import BasePagination
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param
from rest_framework.views import exception_handler

from fleet.web import paging
from fleet.web.refusals import Refused


class KeyPagination(BasePagination):
    """Pages by key: the last page costs what the first does, and nothing is counted.

    A view names its order as `key_order = ["-at"]`, in the words of `fleet.web.paging`; without one it is the id.
    """

    page_size = 50
    most = 1000
    ordering = ("id",)

    def paginate_queryset(self, queryset, request, view=None):
        order = getattr(view, "key_order", self.ordering)
        order = [order] if isinstance(order, str) else list(order)
        self._request = request
        asked = {name: request.query_params.get(name) for name in ("after", "before")}
        try:
            self._page = paging.read(queryset, order, self._size(request), **asked)
        except paging.UnknownKey:
            sentence = gettext("This is not the key of a page of this list. Begin again without it.")
            raise ValidationError({"after" if asked["after"] else "before": [sentence]}) from None
        return self._page.rows

    def _size(self, request):
        text = request.query_params.get("per_page", "")
        if not text:
            return self.page_size
        if not text.isascii() or not text.isdigit() or not 1 <= int(text[:9]) <= self.most:
            sentence = gettext("Give a whole number from 1 to %(most)d.") % {"most": self.most}
            raise ValidationError({"per_page": [sentence]})
        return int(text)

    def _address(self, name, key):
        if not key:
            return None
        address = self._request.build_absolute_uri()
        for old in ("after", "before"):
            address = remove_query_param(address, old)
        return replace_query_param(address, name, key)

    def get_paginated_response(self, data):
        page = self._page
        neighbours = {"next": self._address("after", page.next), "previous": self._address("before", page.previous)}
        return Response(neighbours | {"results": data})

    def get_paginated_response_schema(self, schema):
        link = {"type": "string", "format": "uri", "nullable": True}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": link, "previous": link, "results": schema},
        }

    def get_schema_operation_parameters(self, view):
        number = {"type": "integer", "minimum": 1, "maximum": self.most, "default": self.page_size}
        words = {
            "after": ({"type": "string"}, "the key of the page before; taken from `next`"),
            "before": ({"type": "string"}, "the key of the page after; taken from `previous`"),
            "per_page": (number, "rows a page"),
        }
        return [
            {"name": name, "in": "query", "required": False, "schema": schema, "description": about}
            for name, (schema, about) in words.items()
        ]


class Figure(serializers.FloatField):
    """A finite figure: “NaN” and “Infinity” are words that a plain float would let in."""

    def to_internal_value(self, data):
        if isinstance(data, bool):
            self.fail("invalid")
        try:
            value = super().to_internal_value(data)
        except OverflowError:
            self.fail("invalid")
        if not math.isfinite(value):
            self.fail("invalid")
        return value


class Moment(serializers.DateTimeField):
    """A moment with its offset from UTC: one without could mean the site's time or anybody's."""

    default_error_messages = {
        "naive": gettext_lazy("Give the time with its offset from UTC, like 2026-03-01T09:00:00+03:00.")
    }

    def enforce_timezone(self, value):
        if value.tzinfo is None:
            self.fail("naive")
        return super().enforce_timezone(value)


STATUS = {"not_allowed": status.HTTP_403_FORBIDDEN, "not_found": status.HTTP_404_NOT_FOUND,
          "not_yours": status.HTTP_404_NOT_FOUND}  # fmt: skip


def _flat(detail, field=""):
    if isinstance(detail, dict):
        for name, inner in detail.items():
            yield from _flat(inner, f"{field}.{name}" if field else str(name))
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            deeper = isinstance(inner, dict | list)
            yield from _flat(inner, f"{field}[{index}]" if deeper else field)
    else:
        yield {"code": getattr(detail, "code", "invalid"), "field": field or None, "sentence": str(detail)}


def refusal_handler(error, context):
    """Every failure leaves in one shape: {"errors": [{"code", "field", "sentence"}]}."""
    if isinstance(error, Refused):
        body = {"errors": [{"code": error.code, "field": error.field, "sentence": error.sentence}]}
        return Response(body, status=STATUS.get(error.code, status.HTTP_409_CONFLICT))
    if isinstance(error, DjangoValidationError):
        detail = error.message_dict if hasattr(error, "error_dict") else error.messages
        error = ValidationError(detail)
    answer = exception_handler(error, context)
    if answer is None:
        return None
    if isinstance(error, APIException):
        faults = list(_flat(error.detail))
    elif isinstance(error, Http404):
        faults = [{"code": "not_found", "field": None, "sentence": gettext("There is nothing here that you may see.")}]
    else:
        faults = [{"code": "forbidden", "field": None, "sentence": str(error) or gettext("You may not do this.")}]
    answer.data = {"errors": faults}
    return answer


@csrf_exempt  # it changes nothing: a program that misses the address should hear of that, not of a form
def no_such_address(request, rest=""):
    """What no address of the API fits is answered in its own shape, and a lost last stroke is put there for readers."""
    if request.method in {"GET", "HEAD"} and not request.path.endswith("/"):
        return redirect(request.get_full_path().replace(request.path, request.path + "/", 1))
    sentence = gettext("There is no such address here. All end in /; the guide lists them.")
    return JsonResponse({"errors": [{"code": "no_such_address", "field": None, "sentence": sentence}]}, status=404)


ERRORS = {
    "type": "object",
    "required": ["errors"],
    "properties": {
        "errors": {
            "type": "array",
            "items": {
                "type": "object",
                "required": ["code", "field", "sentence"],
                "properties": {
                    "code": {"type": "string", "description": "for the program"},
                    "field": {"type": "string", "nullable": True, "description": "what it concerns, if one thing"},
                    "sentence": {"type": "string", "description": "for people: what is wrong and how to mend it"},
                },
            },
        }
    },
}
FAILURES = {
    "400": "What was sent cannot be read; each fault by field.",
    "401": "The token is missing, unknown or revoked.",
    "403": "Your role does not allow it.",
    "404": "There is nothing here that you may see.",
    "409": "A rule says no; the sentence says the way out.",
    "429": "Too fast; `Retry-After` says how many seconds to wait.",
}


def complete_description(result, generator, request, public):
    """The API's description: how every operation fails (all by one door, in one shape), and its first sentence as the
    line that the guide shows before one opens it."""
    result["components"]["schemas"]["Errors"] = ERRORS
    content = {"application/json": {"schema": {"$ref": "#/components/schemas/Errors"}}}
    for operations in result["paths"].values():
        for operation in operations.values():
            for code, about in FAILURES.items():
                operation["responses"].setdefault(code, {"description": about, "content": content})
            first = re.split(r"[.:;]\s|\.$", operation.get("description", "").strip(), maxsplit=1)[0]
            operation.setdefault("summary", " ".join(first.split()))
    return result
