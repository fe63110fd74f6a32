"""What is known of an installation, against which a step's figures are held."""

from fleet.readings.models import MeterReading, SpotTest, Standing

COUNTS = (Standing.GOOD, Standing.CORRECTED)


def known_of(installation, visit=None):
    """{last_meter_l, last_loop_ohm, last_static_level_m}, each only if known; what `visit` itself measured left out."""
    if installation is None:
        return {}
    found = {
        "last_meter_l": MeterReading.objects.filter(installation=installation, standing__in=COUNTS)
        .order_by("-at").values_list("total_l", flat=True).first(),
        "last_loop_ohm": SpotTest.objects.filter(
            installation=installation, loop_ohm__isnull=False, standing__in=COUNTS
        ).exclude(visit_link__visit=visit).order_by("-at").values_list("loop_ohm", flat=True).first(),
        "last_static_level_m": installation.well.static_levels.order_by("-measured_on")
        .values_list("level_m", flat=True).first(),
    }  # fmt: skip
    return {name: value for name, value in found.items() if value is not None}
