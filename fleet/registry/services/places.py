"""Sites, wells, levels, tanks, a site's own sun and what hides it."""

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.registry import hiding, places
from fleet.registry.models import MonthlyClimate, Site, StaticLevel, Tank, Well
from fleet.registry.services.keeping import keep, require_own
from fleet.web.refusals import Refused


@transaction.atomic
def keep_site(*, by, site=None, organisation=None, **values):
    """A new site, or one corrected. Its zone follows its coordinates; coordinates on the sea are refused."""
    require_own(by, "edit_registry", site, values.get("district"))
    site = site or Site(organisation=organisation or by.organisation)
    at = values.get("latitude_deg", site.latitude_deg), values.get("longitude_deg", site.longitude_deg)
    if None in at or not (-90 <= at[0] <= 90 and -180 <= at[1] <= 180):
        raise Refused("coordinates", _("Give latitude (-90 to 90) and longitude (-180 to 180) in degrees."),
        "latitude_deg")
    if (site.latitude_deg, site.longitude_deg) != at or not site.zone:
        trouble = places.trouble_with(*at)
        if trouble:
            raise Refused("on_the_sea", trouble, "latitude_deg")
        values["zone"] = places.zone_at(*at)
    if values.get("need_m3_day") is not None:
        values["need_m3_day"] = _twelve(values["need_m3_day"], "need_m3_day", _("the daily need"), low=0)
    return keep(site, values)


def warnings_of_site(site):
    """What looks wrong with a site's coordinates without being impossible: (field, sentence)."""
    others = Site.objects.filter(organisation=site.organisation_id).exclude(pk=site.pk)
    middle = places.middle(others.values_list("latitude_deg", "longitude_deg")[:2000])
    far = places.looks_swapped(site.latitude_deg, site.longitude_deg, middle)
    return [("latitude_deg", far)] if far else []


def _twelve(values, field, what, low):
    if values and (len(values) != 12 or any(v is None or not low <= v < 1e6 for v in values)):
        raise Refused("twelve", _("Give twelve figures for %(what)s, one a month, or none.") % {"what": what}, field)
    return list(values)


@transaction.atomic
def keep_well(*, by, well=None, site=None, **values):
    require_own(by, "edit_registry", well or site)
    return keep(well or Well(site=site), values)


def find_well(*, organisation, site, name=None):
    """The well that is meant: by its site's code, and its name where the site has several."""
    wells = Well.objects.filter(site__organisation=organisation, site__code__iexact=site.replace("\0", ""))
    wells = list((wells.filter(name=name) if name else wells).select_related("site")[:2])
    if not wells:
        sentence = _("There is no well of this site code. Look it up under Sites, or add it.")
        raise Refused("no_such_well", sentence, "site")
    if len(wells) > 1:
        raise Refused("which_well", _("This site has several wells. Give the well's name as well."), "well")
    return wells[0]


@transaction.atomic
def keep_level(*, well, measured_on, level_m, by, hours_since_pumped=None):
    """A static level on a day; the same day again corrects it."""
    require_own(by, "log", well)
    if well.depth_m and level_m > well.depth_m:
        raise Refused("below_bottom", _("Below the bottom of the well (%(deep)g m).") % {"deep": well.depth_m},
        "level_m")
    level = StaticLevel.objects.filter(well=well, measured_on=measured_on).first()
    level = level or StaticLevel(well=well, measured_on=measured_on)
    return keep(level, {"level_m": level_m, "hours_since_pumped": hours_since_pumped})


@transaction.atomic
def remove_level(*, level, by):
    """Take a mistaken level away; the trail keeps it."""
    require_own(by, "edit_registry", level)
    level.delete()


@transaction.atomic
def keep_tank(*, well, by, **values):
    require_own(by, "edit_registry", well)
    return keep(Tank.objects.filter(well=well).first() or Tank(well=well), values)


@transaction.atomic
def keep_climate(*, site, by, irradiation_kwh_m2_day, air_c, source, day_irradiation_kwh_m2=None):
    """The site's own twelve values of sun, and of air where known; empty sun takes the table away.

    day_irradiation_kwh_m2: twelve rows of nine kinds of day, as a weather file gives them. Left out: those kept before
    stay as long as the twelve values do; with other values the days of the surroundings are drawn to these.
    """
    require_own(by, "edit_registry", site)
    climate = MonthlyClimate.objects.filter(site=site).first()
    if not irradiation_kwh_m2_day:
        if climate:
            climate.delete()
        return None
    sun = _twelve(irradiation_kwh_m2_day, "irradiation_kwh_m2_day", _("the sun"), low=0)
    if max(sun) > 12:
        raise Refused("too_much_sun", _("More than 12 kWh/m² a day falls nowhere. Are these MJ/m²? Divide by 3.6."),
                      "irradiation_kwh_m2_day")  # fmt: skip
    air = _twelve(air_c or [], "air_c", _("the air temperature"), low=-60)
    days = day_irradiation_kwh_m2
    if days is None:
        days = climate.day_irradiation_kwh_m2 if climate and climate.irradiation_kwh_m2_day == sun else []
    _refuse_other_days(sun, days)
    values = {"irradiation_kwh_m2_day": sun, "air_c": air, "source": source, "day_irradiation_kwh_m2": days}
    return keep(climate or MonthlyClimate(site=site), values)


KINDS_OF_DAY = 9
SAME_MONTH = 0.02  # of a month's mean: figures are rounded on the way


def _refuse_other_days(sun, days):
    """Kinds of day are nine a month, from dull to bright, and their mean is the month's."""
    if not days:
        return
    field = "day_irradiation_kwh_m2"
    if len(days) != 12 or any(len(month) != KINDS_OF_DAY or min(month) < 0 or max(month) > 15 for month in days):
        raise Refused("kinds_of_day", _("Give nine figures for each of twelve months, 0 to 15 kWh/m², or none."), field)
    for number, (month, mean) in enumerate(zip(days, sun), 1):
        if abs(sum(month) / KINDS_OF_DAY - mean) > SAME_MONTH * max(mean, 0.1):
            raise Refused(
                "days_of_another_month",
                _("The days of month %(month)d have a mean of %(days).2f, not %(mean).2f.")
                % {"month": number, "days": sum(month) / KINDS_OF_DAY, "mean": mean}, field,
            )  # fmt: skip


@transaction.atomic
def keep_skyline(*, site, pairs, by):
    """The skyline as pairs of bearing and height angle, in order of bearing."""
    require_own(by, "log", site)
    _refuse_faults(hiding.faults_of_skyline(pairs), "skyline")
    return keep(site, {"skyline": sorted([float(b), float(h)] for b, h in pairs)})


@transaction.atomic
def keep_shade_windows(*, site, windows, by):
    """Windows of shade as (from, to, share of the direct light lost), hours in sun time, in order of time."""
    require_own(by, "log", site)
    _refuse_faults(hiding.faults_of_windows(windows), "shade_windows")
    return keep(site, {"shade_windows": sorted([float(v) for v in window] for window in windows)})


def _refuse_faults(faults, field):
    if faults:
        raise Refused(field, " ".join(faults), field)
