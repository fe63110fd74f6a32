"""Whether this server can work, for whoever watches it: /health/ needs no log-in and tells nothing but that."""

from django.db import DatabaseError, connection
from django.http import JsonResponse
from django.views.decorators.cache import never_cache


@never_cache
def health(request):
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return JsonResponse({"database": "away"}, status=503)
    return JsonResponse({"database": "ok"})
