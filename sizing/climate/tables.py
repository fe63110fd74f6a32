"""The embedded climatology, read once."""

from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

__all__ = ["ClimateTable", "climate_table"]


class ClimateTable(NamedTuple):
    """cell (lat, lon) -> row of ghi (cells, 12) and twentieths (cells, 12, 20), -1 where there is none."""

    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    cell: np.ndarray
    ghi_kwh_m2_day: np.ndarray
    twentieths: np.ndarray
    pooled_clearness: np.ndarray
    pooled_twentieths: np.ndarray


@lru_cache(maxsize=1)
def climate_table():
    """See tables/README.md for its source and how it is made."""
    with np.load(Path(__file__).parents[1] / "tables" / "climate.npz") as file:
        parts = {name: file[name] for name in file.files}
    cell = np.full((parts["latitude_deg"].size, parts["longitude_deg"].size), -1)
    cell[parts["row"], parts["column"]] = np.arange(parts["row"].size)
    return ClimateTable(
        *(parts[name].astype(np.float64) for name in ("latitude_deg", "longitude_deg")),
        cell,
        *(
            parts[name].astype(np.float64)
            for name in ("ghi_kwh_m2_day", "twentieths", "pooled_clearness", "pooled_twentieths")
        ),
    )
