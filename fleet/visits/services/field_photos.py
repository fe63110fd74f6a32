"""The parts of photos on their way home. Two short statements a part: it is kept, then said what is here."""

from dataclasses import dataclass, field

from fleet.visits.models import PhotoChunk
from fleet.web.plain_sql import server_cursor

KEEP = """
INSERT INTO visits_photochunk (photo_key, place, data, person_id, received_at)
SELECT %(key)s, %(place)s, %(data)b, %(person)s, now()
WHERE NOT EXISTS (SELECT FROM visits_photo WHERE key = %(key)s)
  AND NOT EXISTS (SELECT FROM visits_photochunk WHERE photo_key = %(key)s AND person_id <> %(person)s)
ON CONFLICT DO NOTHING
"""
HERE = """
SELECT EXISTS (SELECT FROM visits_photo WHERE key = %(key)s),
       EXISTS (SELECT FROM visits_photochunk WHERE photo_key = %(key)s AND person_id <> %(person)s),
       ARRAY(SELECT ARRAY[place, place + octet_length(data)] FROM visits_photochunk WHERE photo_key = %(key)s
             ORDER BY place)
"""


@dataclass(frozen=True)
class Parts:
    """How much of a photo is here."""

    whole: bool
    of_another: bool = False
    spans: list = field(default_factory=list)

    def reach(self):
        """How far it is here without a gap."""
        end = 0
        for start, stop in self.spans:
            if start > end:
                break
            end = max(end, stop)
        return end

    def places(self, total):
        return [[0, total]] if self.whole else self.spans


def keep_part(*, person_id, photo_key, place, data):
    """Keep a part, unless the photo is whole already or somebody else is sending it."""
    with server_cursor() as cursor:
        cursor.execute(KEEP, {"key": photo_key, "place": place, "data": data, "person": person_id})


def parts_here(photo_key, person_id=0):
    with server_cursor() as cursor:
        cursor.execute(HERE, {"key": photo_key, "person": person_id})
        return Parts(*cursor.fetchone())


def whole_photo(photo_key, size):
    """The photo's bytes if all are here, else None."""
    found = bytearray()
    for place, data in PhotoChunk.objects.filter(photo_key=photo_key).order_by("place").values_list("place", "data"):
        if place > len(found):
            return None
        found[place : place + len(data)] = bytes(data)
    return bytes(found[:size]) if len(found) >= size else None
