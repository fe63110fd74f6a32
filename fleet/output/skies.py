"""In words: what told the sky of the days that a unit was judged by."""

from collections import Counter

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.output.models import Evaluation

NEWEST_DAYS = 14  # judged days that the sentence is of
SUN_BY = {
    "own": gettext_lazy("its own cell"),
    "neighbour": gettext_lazy("a neighbour's cell"),
    "import": gettext_lazy("imported weather"),
    "fleet": gettext_lazy("what the units around gave"),
    "climate": gettext_lazy("the usual of the place"),
}


def word(code):
    return SUN_BY.get(code, _("not told"))


def sentence(codes):
    """One sentence of the newest days' `Evaluation.sun_by`, oldest first; nothing where none was judged."""
    counted = Counter(code for code in list(codes)[-NEWEST_DAYS:] if code in SUN_BY).most_common()
    if not counted:
        return ""
    by = {"by": word(counted[0][0])}
    if len(counted) == 1:
        return _("What told the sky of the newest days: %(by)s.") % by
    return _("What mostly told the sky of the newest days: %(by)s.") % by


def of_installation(installation_id, last=None):
    """The same of an installation's newest judged days, up to the day `last`."""
    rows = Evaluation.objects.filter(installation_id=installation_id)
    rows = rows if last is None else rows.filter(day__lte=last)
    codes = rows.order_by("-day").values_list("sun_by", flat=True)[:NEWEST_DAYS]
    return sentence(reversed(codes))
