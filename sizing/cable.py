"""The cable: resistance by section, class and temperature, what it costs in volts and watts, the section to choose.

Table of conductors: `tables/iec60228_copper.csv`. Temperature law of copper: IEC 60028, 0.00393 per kelvin at 20 C.
"""

import csv
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from .checks import Refusal, one_of, within

COPPER_PER_K = 0.00393
CLASSES = {2: "class2_plain", 5: "class5_plain"}


class Loss(NamedTuple):
    """Resistance of the loop (both wires), ohm; volts and watts lost in it; drop as a share of the supply voltage."""

    loop_ohm: np.ndarray
    drop_v: np.ndarray
    loss_w: np.ndarray
    drop_fraction: np.ndarray


@lru_cache(maxsize=1)
def conductor_table():
    """Columns of the conductor table by name, arrays; section_mm2 first, resistances in ohm/km at 20 C."""
    lines = (Path(__file__).parent / "tables" / "iec60228_copper.csv").read_text().splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    return {name: np.array([float(row[name]) for row in rows]) for name in rows[0]}


def ohm_per_km(area_mm2, conductor_class=2):
    """Largest resistance of one copper conductor at 20 C, ohm/km.

    Standard sections come from the table, a section between two of them by the straight line in log-log, which meets
    both. Shapes: arguments broadcast. Refuses a section outside the table (0.75 mm2 and more) and a class not 2 or 5.
    Source: IEC 60228:2004, tables 2 and 3.
    """
    table = conductor_table()
    sections = table["section_mm2"]
    area = within(area_mm2, sections[0], sections[-1], "area_mm2")
    kind = np.asarray(conductor_class)
    for value in np.unique(kind):
        one_of(int(value), CLASSES, "conductor_class")
    by_class = [np.exp(np.interp(np.log(area), np.log(sections), np.log(table[column]))) for column in CLASSES.values()]
    return np.where(kind == 2, *by_class)


def loop_resistance(length_m, area_mm2, conductor_class=2, conductor_c=20.0):
    """Resistance out and back, ohm, of a two-wire cable. No length, no resistance. Shapes: arguments broadcast."""
    length = within(length_m, 0, 2000, "length_m")
    warm = 1 + COPPER_PER_K * (within(conductor_c, -40, 120, "conductor_c") - 20)
    return 2 * length / 1000 * ohm_per_km(area_mm2, conductor_class) * warm


def loss(current_a, length_m, area_mm2, supply_v, conductor_class=2, conductor_c=20.0):
    """What the cable takes (Loss) at a direct current. Arguments broadcast. Source: Ohm's law."""
    amps = within(current_a, 0, 1000, "current_a")
    loop = loop_resistance(length_m, area_mm2, conductor_class, conductor_c)
    volts = within(supply_v, 0, 2000, "supply_v", open_low=True)
    drop = loop * amps
    return Loss(*np.broadcast_arrays(loop, drop, drop * amps, drop / volts))


def smallest_section(current_a, length_m, supply_v, largest_drop=0.03, conductor_class=2, conductor_c=45.0):
    """Smallest standard section, mm2, whose drop stays within a share of the supply voltage; NaN where none does.

    Three per cent is common practice, no source. Heating of the cable is not judged: see local wiring rules.
    """
    one_of(int(conductor_class), CLASSES, "conductor_class")
    share = within(largest_drop, 0, 0.5, "largest_drop", open_low=True)
    amps, length = within(current_a, 0, 1000, "current_a"), within(length_m, 0, 2000, "length_m")
    volts = within(supply_v, 0, 2000, "supply_v", open_low=True)
    warm = 1 + COPPER_PER_K * (within(conductor_c, -40, 120, "conductor_c") - 20)
    with np.errstate(divide="ignore"):
        allowed = share * volts / (2 * amps * length / 1000 * warm)
    table = conductor_table()
    fits = table[CLASSES[int(conductor_class)]] <= np.asarray(allowed)[..., None]
    section = np.where(fits.any(-1), table["section_mm2"][fits.argmax(-1)], np.nan)
    return np.where(np.isnan(allowed), np.nan, section)


def temperature_factor(conductor_c):
    """Factor that brings a resistance read at this temperature back to 20 C. Source: IEC 60028."""
    return 1 / (1 + COPPER_PER_K * (within(conductor_c, -40, 120, "conductor_c") - 20))


def resistance_of_joint(drop_v, current_a):
    """Resistance, ohm, of a joint from the millivolts read across it under load. Refuses a current of zero."""
    if np.ndim(current_a) == 0 and current_a == 0:
        raise Refusal("current_a", 0, because="no current, no drop: read it while the pump runs")
    amps = within(current_a, 0, 1000, "current_a", open_low=True)
    return within(drop_v, 0, 1000, "drop_v") / amps
