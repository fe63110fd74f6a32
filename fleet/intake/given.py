"""Rows that came ready made, from a program rather than from a file: read by the same tables as files are."""

from contextlib import contextmanager


class GivenRows:
    """Stands where an opened file stands. `rows`: (number, cells) with cells in order of the heads; "" is empty."""

    kind, delimiter, head_line = "given", ",", 0

    def __init__(self, heads, rows):
        self.heads, self.given = list(heads), list(rows)
        self.notes, self.size = [], len(self.given)

    @contextmanager
    def rows(self):
        yield iter(self.given)

    def position(self):
        return self.size
