"""What a serial that nobody knows was probably meant to be: known ones that one slip of the pen makes of it."""

from django.utils.translation import gettext as _

MOST = 3  # named at most
ASKED_AT_MOST = 1000  # unknown serials of one table; a table with more is about another fleet


class Near:
    """Asked for many serials: each is looked up once. `known`: {the serial in small letters: as it is written}."""

    def __init__(self, known):
        self.known = known
        self.signs = sorted({sign for serial in known for sign in serial})
        self.found = {}

    def to(self, serial):
        """Known serials of which two neighbouring signs were swapped, one is another, one too many or one missing."""
        serial = serial.strip().lower()
        if serial not in self.found:
            if len(self.found) >= ASKED_AT_MOST:
                return []
            near = dict.fromkeys(other for other in self._slips(serial) if other in self.known and other != serial)
            self.found[serial] = [self.known[other] for other in near][:MOST]
        return self.found[serial]

    def sentence(self, serial):
        """Why a row under this serial cannot be kept, and what it was perhaps meant to be."""
        near = self.to(serial)
        if not near:
            return _("No unit with this serial is kept here. Check it, or bring the units in first.")
        words = {"serial": serial.strip(), "serials": ", ".join(near)}
        return _("No unit %(serial)s here; did you mean %(serials)s?") % words

    def _slips(self, serial):
        """The likeliest first. Longer ones are no serials, and not looked at."""
        if len(serial) > 40:
            return
        places = range(len(serial))
        for n in places[:-1]:
            yield serial[:n] + serial[n + 1] + serial[n] + serial[n + 2 :]
        for n in places:
            for sign in self.signs:
                yield serial[:n] + sign + serial[n + 1 :]
        for n in places:
            yield serial[:n] + serial[n + 1 :]
        for n in range(len(serial) + 1):
            for sign in self.signs:
                yield serial[:n] + sign + serial[n:]
