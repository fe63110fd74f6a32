"""The short way in for what telephones send all the time: pieces, and parts of photos.

A telephone signs in with its own key, so nothing on the long way concerns it: no session, no form's token, no message,
no page's language. The views are the very same (`fleet.visits.api.field`); whoever is no telephone takes the long way.
"""

import re
import uuid

from django.conf import settings
from django.utils import translation

from fleet.visits.api.field import PhotoPart, Pieces

PIECES = "/api/v1/field/pieces/"
PHOTO = re.compile(r"/api/v1/field/photos/([0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12})/\Z")


def short_way(get_response):
    """Middleware that stands before sessions."""
    pieces, part = Pieces.as_view(), PhotoPart.as_view()

    def answer(request):
        if request.META.get("HTTP_AUTHORIZATION", "")[:10].lower() != "telephone ":
            return get_response(request)
        photo = PHOTO.match(request.path_info)
        if photo is None and request.path_info != PIECES:
            return get_response(request)
        request.get_host()  # refused here as elsewhere if it is none of ours
        with translation.override(settings.LANGUAGE_CODE):  # the view goes on in the person's own
            response = part(request, key=uuid.UUID(photo[1])) if photo else pieces(request)
            response.render()
        response.headers.setdefault("Content-Length", str(len(response.content)))  # a line that is kept open needs it
        return response

    return answer
