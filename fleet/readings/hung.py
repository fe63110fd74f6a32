"""Which installation a serial meant at a moment, for many readings at once."""

import numpy as np
from django.db import connection

from fleet.readings import zones

FOREVER = 2.0**53


class Hung:
    """All installations of an organisation by serial, with their periods and their sites' zones.

    `index_of(serials)` and then `at(index, epoch_s)`; both work on whole columns.
    """

    def __init__(self, organisation, serials=None):
        """`serials`: only these (any case); None loads the whole fleet."""
        where, params = "", [organisation.pk]
        if serials is not None:
            where, params = "AND lower(u.serial) = ANY(%s)", [organisation.pk, [s.lower() for s in serials]]
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT u.serial, lower(u.serial), i.id, extract(epoch FROM lower(i.period))::float8, "
                "extract(epoch FROM upper(i.period))::float8, s.zone "
                "FROM registry_unit u LEFT JOIN registry_installation i ON i.unit_id = u.id "
                "LEFT JOIN registry_well w ON w.id = i.well_id LEFT JOIN registry_site s ON s.id = w.site_id "
                f"WHERE u.organisation_id = %s {where} ORDER BY u.id, lower(i.period)",
                params,
            )
            rows = cursor.fetchall()
        self.serials, self.written = {}, {}
        self.zones, zone_index = [], {}
        unit_of, ids, starts, ends, zone_of = [], [], [], [], []
        for written, serial, installation, start, end, zone in rows:
            number = self.serials.setdefault(serial, len(self.serials))
            self.written.setdefault(serial, written)
            if installation is None:
                continue
            if zone not in zone_index:
                zone_index[zone] = len(self.zones)
                self.zones.append(zone)
            unit_of.append(number)
            ids.append(installation)
            starts.append(start)
            ends.append(FOREVER if end is None else end)
            zone_of.append(zone_index[zone])
        self.unit_of = np.array(unit_of, dtype=np.int64)
        self.ids = np.array(ids, dtype=np.int64)
        self.starts = np.array(starts, dtype=float)
        self.ends = np.array(ends, dtype=float)
        self.zone_of = np.array(zone_of, dtype=np.int64)
        self.first = np.searchsorted(self.unit_of, np.arange(len(self.serials) + 1))
        self.most = int(np.diff(self.first).max(initial=0))

    def index_of(self, serials):
        """Number of each serial in the fleet; -1 for one that is not known."""
        known = self.serials
        return np.fromiter((known.get(s.strip().lower(), -1) for s in serials), dtype=np.int64, count=len(serials))

    def at(self, index, epoch_s):
        """Row of the installation in which each unit hung at each moment; -1 where it hung nowhere."""
        epoch_s = np.asarray(epoch_s, dtype=float)
        found = np.full(len(index), -1, dtype=np.int64)
        if not len(self.ids):
            return found
        known = np.maximum(index, 0)
        for step in range(self.most):
            row = self.first[known] + step
            there = (index >= 0) & (row < self.first[known + 1])
            row = np.minimum(row, len(self.ids) - 1)
            inside = there & (self.starts[row] <= epoch_s) & (epoch_s < self.ends[row])
            found[inside] = row[inside]
        return found

    def local(self, row, epoch_s):
        """Local day and seconds since it began, for rows found by `at`."""
        return zones.local(epoch_s, self.zone_of[row], self.zones)
