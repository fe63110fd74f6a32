"""The page for a failure nobody caught. Two of them are of the machine and not of the program, and say so."""

import errno
import sys

from django.db import InterfaceError, OperationalError
from django.http import HttpResponse, JsonResponse
from django.template import loader
from django.utils.translation import gettext as _

DISK = {errno.ENOSPC, errno.EROFS, errno.EDQUOT}


def _told(error):
    """(status, title, sentence) for what is wrong with the machine, or None."""
    if isinstance(error, OperationalError | InterfaceError):
        return 503, _("The database does not answer"), _(
            "It is starting again, or the line to it is down. Nothing was kept half done. Go back in the browser, what "
            "you typed is still there, and try again in a minute."
        )  # fmt: skip
    if isinstance(error, OSError) and error.errno in DISK:
        return 507, _("The disk is full"), _(
            "The file could not be taken in: the disk of this server is full or may not be written to. Tell whoever "
            "keeps this installation, then send it again."
        )  # fmt: skip
    return None


def server_error(request):
    """What broke, in words where we know them; the program's own faults get the plain page."""
    error = sys.exc_info()[1]
    seen = set()
    told = None
    while error is not None and id(error) not in seen and told is None:
        seen.add(id(error))
        told = _told(error)
        error = error.__cause__ or error.__context__
    status, title, sentence = told or (500, "", "")
    if request.path.startswith("/api/"):
        code = {503: "database_away", 507: "no_room"}.get(status, "broken")
        words = sentence or _("Something broke on our side. Try again in a minute.")
        answer = JsonResponse({"errors": [{"code": code, "field": None, "sentence": words}]}, status=status)
    else:
        page = loader.get_template("500.html").render({"title": title, "sentence": sentence})
        answer = HttpResponse(page, status=status)
    if status != 500:
        answer["Retry-After"] = "30"
    return answer
