"""Shortfalls of pumps that were taken out: they end with the installation, and stand on nobody's list."""

from fleet.output.models import Shortfall
from fleet.output.services.judging import end_shortfall
from fleet.web.quantities import zone_of


def end_gone(installation=None):
    """Close the open shortfalls of installations that ended (of one, if given). Returns how many; again finds none."""
    rows = Shortfall.objects.exclude(state=Shortfall.State.CLOSED).filter(installation__period__upper_inf=False)
    if installation is not None:
        rows = rows.filter(installation=installation)
    ended = 0
    for row in rows.select_related("installation__well__site"):
        hung = row.installation
        day = hung.period.upper.astimezone(zone_of(hung.well.site)).date()
        end_shortfall(shortfall=row, ending=Shortfall.Ending.GONE, words=hung.closed_why, on=max(day, row.flagged_on))
        ended += 1
    return ended
