"""Reads the published tables that are kept beside the checks; their first lines name the source."""

import csv
from pathlib import Path

DATA = Path(__file__).parent / "data"


def rows(name):
    """Rows of a table as dictionaries of text; lines that begin with # are its source and are left out."""
    with (DATA / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))


MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
