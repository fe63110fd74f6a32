"""Whether this server can work, for whoever watches it: /health/ needs no log-in and tells nothing but that.

It is answered before the host's name is looked at: who watches asks by number, which ALLOWED_HOSTS need not know.
"""

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


def first(get_response):
    """Middleware that stands before all others."""

    def answer(request):
        return health(request) if request.path_info == "/health/" else get_response(request)

    return answer
