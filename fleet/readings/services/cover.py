"""Whether samples tell of a whole day. What a logger did not send is not water that did not flow.

A day's sum counts only where the samples cover nearly all of the light that a clear day sends to that place: the first
and the last sample and every silence between them are weighed by the height of the sun. A logger that writes only while
water flows is silent in the morning, in the evening and while its tank is full, and its days are whole nevertheless; it
is known by its own habit. One that wakes and sleeps with the sun, by a clock that is wrong, is told by `logger_clock`:
its days are held against the light by that clock. The samples of a day that is told in part are kept: they show its
shape, and pieces that come late complete it.
"""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from django.db import connection

from fleet.readings import staging
from fleet.registry.models import Installation
from sizing import sun

LONGEST_GAP_S = 1800  # a longer silence is not bridged when a day is added up
USUAL_STEPS, LONGEST_STEP_S, FEW_STEPS = 2, 3600, 3  # but so many of the day's own steps are, if it has some
LEAST_COVERED = 0.94  # of a clear day's light: what may be missing is less than a loss worth telling (a judgement)
# So many samples of a day without flow show that a logger writes while nothing runs. A unit's habit is told by so many
# days at least, and it writes only while it runs when fewer than this share of them have such samples.
STANDING_SAMPLES, STANDING_L_MIN, HABIT_DAYS, SELDOM, REMEMBERED_DAYS = 3, 0.05, 3, 0.25, 45


class Channel:
    """The samples of one channel that are there: values and seconds (n,), day by day from starts to ends; `days`: which
    of the intake's days these are."""

    def __init__(self, values, seconds, starts, ends):
        known = ~np.isnan(values)
        self.values, self.seconds, self.starts, self.ends = values, seconds, starts, ends
        self.days = np.arange(len(starts))
        if not known.all():
            place = np.repeat(self.days, ends - starts)[known]
            self.values, self.seconds = values[known], seconds[known]
            self.starts = np.flatnonzero(np.diff(place, prepend=-1))
            self.ends = np.append(self.starts[1:], len(place))[: len(self.starts)]
            self.days = place[self.starts]
        if len(self.days):
            self._lay_out()

    def _lay_out(self):
        """Each sample stands for half the way to its neighbours (by trapezium), as far as silences are bridged."""
        gap = np.diff(self.seconds, append=self.seconds[-1:]).astype(float)
        gap[self.ends - 1] = 0
        self.long = np.flatnonzero(gap > LONGEST_GAP_S)
        self.long_of = np.searchsorted(self.starts, self.long, side="right") - 1
        reach = np.full(len(self.days), float(LONGEST_GAP_S))
        for day in np.unique(self.long_of).tolist():
            steps = gap[self.starts[day] : self.ends[day] - 1]
            if len(steps) > FEW_STEPS:
                reach[day] = max(reach[day], USUAL_STEPS * min(np.median(steps), LONGEST_STEP_S))
        reach = reach[self.long_of]
        self.silent = np.maximum(1 - reach / gap[self.long], 0)  # share of a long silence that nothing tells of
        gap[self.long] = np.minimum(gap[self.long], reach)
        self.share = np.zeros(len(gap))
        self.share[:-1] = gap[:-1] / 2
        self.share[1:] += gap[:-1] / 2

    def total(self, count):
        """Values times seconds of each of `count` days; NaN where there is no sample."""
        out = np.full(count, np.nan)
        if len(self.days):
            out[self.days] = np.add.reduceat(self.values * self.share, self.starts)
        return out

    def light_covered(self, light):
        """Share of a clear day's light that its days' samples cover (days,)."""
        if not len(self.days):
            return np.zeros(0)
        light = light.of(self.days)
        covered = light.before(self.seconds[self.ends - 1]) - light.before(self.seconds[self.starts])
        at = light.of(self.long_of)
        missing = at.before(self.seconds[self.long + 1]) - at.before(self.seconds[self.long])
        np.subtract.at(covered, self.long_of, self.silent * missing)
        return np.where(light.whole > 0, covered, 1.0)


class Light:
    """The light of a clear day, by its installations' places and its days (n,): as the sine of the sun's height,
    whose integral over the hour angle is closed (Duffie & Beckman, Solar Engineering of Thermal Processes, 1.10)."""

    def __init__(self, shift_h, level, tilted, sunset):
        self.shift_h, self.level, self.tilted, self.sunset = shift_h, level, tilted, sunset
        self.whole = level * sunset + tilted * np.sin(sunset)

    @classmethod
    def over(cls, installations, days):
        pks, which = np.unique(installations, return_inverse=True)
        found = Installation.objects.filter(pk__in=staging.among(pks)).order_by("pk").values_list(
            "well__site__latitude_deg", "well__site__longitude_deg", "well__site__zone"
        )  # fmt: skip
        return cls.at(*(np.array(column)[which] for column in zip(*found, strict=True)), days)

    @classmethod
    def at(cls, latitude, longitude, zone, days):
        """By places, degrees, and the zones of their clocks."""
        date = days.astype("datetime64[D]")
        day_of_year = (date - date.astype("datetime64[Y]").astype("datetime64[D]")).astype(int) + 1
        declination = np.radians(sun.declination_deg(day_of_year))
        turn = np.radians(latitude)
        sunset = np.radians(sun.sunset_angle_deg(latitude, np.degrees(declination)))
        shift = longitude / 15 - _before_utc_h(zone, date) + sun.equation_of_time_min(day_of_year) / 60
        return cls(shift, np.sin(turn) * np.sin(declination), np.cos(turn) * np.cos(declination), sunset)

    def of(self, places):
        return Light(self.shift_h[places], self.level[places], self.tilted[places], self.sunset[places])

    def by_clock(self, ahead_h):
        """The same by clocks that are so many hours ahead of the right ones (n,)."""
        return Light(self.shift_h - ahead_h, self.level, self.tilted, self.sunset)

    def before(self, second):
        """Share of the day's light that has come by this second of the site's clock."""
        angle = np.clip(np.radians((second / 3600 + self.shift_h - 12) * 15), -self.sunset, self.sunset)
        half = np.where(self.whole > 0, self.whole, 1.0)
        return 0.5 * (1 + (self.level * angle + self.tilted * np.sin(angle)) / half)


def _before_utc_h(zones, days):
    """Hours that each clock is before UTC at noon of each day."""
    names, of_zone = np.unique(zones, return_inverse=True)
    dates, of_day = np.unique(days, return_inverse=True)
    key, back = np.unique(of_zone * len(dates) + of_day, return_inverse=True)
    hours = [
        datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)).utcoffset().total_seconds() / 3600
        for zone, day in ((str(names[k // len(dates)]), dates[k % len(dates)].item()) for k in key.tolist())
    ]
    return np.array(hours)[back]


def writing_only_while_running(installations, first, last):
    """{installation: days known} of those that are known to write only while water flows, from what is kept of the
    days before `first` and through `last`."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT installation_id, count(*) FROM (SELECT installation_id, (SELECT count(*) FROM unnest(flow_l_min) f "
            "WHERE f < %s) >= %s AS stood FROM readings_dayseries WHERE installation_id = ANY(%s) "
            "AND day BETWEEN %s AND %s AND flow_l_min IS NOT NULL) x GROUP BY installation_id "
            "HAVING count(*) >= %s AND count(*) FILTER (WHERE stood) < %s * count(*)",
            [STANDING_L_MIN, STANDING_SAMPLES, [int(pk) for pk in installations],
             first - timedelta(days=REMEMBERED_DAYS), last, HABIT_DAYS, SELDOM],
        )  # fmt: skip
        return dict(cursor.fetchall())
