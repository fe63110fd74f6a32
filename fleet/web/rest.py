"""What the rooms' API views share: paging by key and one door for failures."""

from django.core.exceptions import ValidationError as DjangoValidationError
from django.http import Http404
from django.utils.translation import gettext
from rest_framework import status
from rest_framework.exceptions import APIException, ValidationError
from rest_framework.pagination import CursorPagination
from rest_framework.response import Response
from rest_framework.views import exception_handler

from fleet.web.refusals import Refused


class KeyPagination(CursorPagination):
    """Pages by key: the last page costs what the first does."""

    page_size = 50
    page_size_query_param = "per_page"
    max_page_size = 1000
    ordering = "id"
    cursor_query_param = "after"


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
        return Response(body, status=status.HTTP_409_CONFLICT)
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
