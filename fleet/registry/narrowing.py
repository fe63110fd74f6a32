"""Lists of what belongs to installations, narrowed to some of them by what stands in the address."""

from fleet.people import rest
from fleet.people.access import own
from fleet.registry.models import Installation

PATHS = {
    "serial": "unit__serial__iexact", "site": "well__site__code", "district": "well__site__district__name",
    "pump_type": "unit__pump_type__name",
}  # fmt: skip
MOST_NAMED = 20_000
WHOSE = [
    rest.words("serial"), rest.words("site", "site code"), rest.words("district"), rest.words("pump_type"),
    rest.whole("installation"),
]  # fmt: skip


def of_installations(rows, asked, person):
    """Rows of the person's organisation, and of those installations only that were asked for.

    The few that are meant are looked up first and named: joined, PostgreSQL would walk all days of the fleet in the
    list's order to find those of one district.
    """
    if installation := asked.whole("installation"):
        rows = rows.filter(installation_id=installation)
    meant = {path: found for name, path in PATHS.items() if (found := asked.text(name))}
    if not meant:
        return own(rows, person, "installation__organisation")
    ids = own(Installation.objects.filter(**meant), person).values_list("pk", flat=True)
    named = list(ids[: MOST_NAMED + 1])
    if not named:
        return rows.none()
    return rows.filter(installation_id__in=named if len(named) <= MOST_NAMED else ids)
