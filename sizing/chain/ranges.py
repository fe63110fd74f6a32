"""What an answer is unsure by: one sigma of each thing that is not known, and how they make a range.

Three sources are kept apart: the climate (how the light comes: the band of a default climate, the unrest within a day),
the model (the one unit and array about their sheets, the water level where it comes from a record) and the instruments
(irradiance, dipped level, meter). They do not know of each other, so that their squares add.

A unit differs from its type's sheet by what its acceptance allows, taken as two and a half sigmas, and each difference
goes through the chain's own slope: a wheel's flow is steep in head, so that a small error of head costs it far more
than a displacement pump, whose every turn gives the same.

* Wheels below 10 kW are accepted at +-10 % of flow and +-8 % of head (ISO 9906, clause 4.4.2, from memory).
* Displacement pumps at 3 % of flow and 4 % of power (API 674 and 676, from memory); power counts as light does.
* A motor straight on the array turns at a voltage by its constant, which is promised to +-15 % below 0.67 kW a thousand
  turns a minute (IEC 60034-1, schedule of tolerances, from memory). Through the chain it is a change of gear between
  array and pump: near the array's best point it costs nothing, away from it water.
"""

from typing import NamedTuple

import numpy as np

from .machine import ALPHA, CABLE, DARK, LIGHT, SERIES, SHUNT, THERMAL

SPREAD_80 = 1.2816  # sigmas on either side that hold 80 % of a normal spread
PER_SIGMA = 2.5  # sigmas in what an acceptance allows (judged)
WHEEL_FLOW, WHEEL_HEAD = 0.10 / PER_SIGMA, 0.08 / PER_SIGMA
PISTON_FLOW, PISTON_POWER = 0.03 / PER_SIGMA, 0.04 / PER_SIGMA
MOTOR = 0.15 / PER_SIGMA
# What an array gives (dirt, age, label) counts as light does: more than itself near the threshold, less where the pump
# is at its limit (judged)
ARRAY_SIGMA = 0.03
# A level from the record was dipped on some day of some year: water tables of weathered rock rise and fall by one to
# five metres a year (from memory), of which a dip at any time and the day asked for lie half apart (1.5 m); years and
# datum another metre (judged). A dipped level: the tape, and whether the well had come to rest (judged)
RECORD_LEVEL_SIGMA_M, DIPPED_LEVEL_SIGMA_M = 1.8, 0.3
DRAWDOWN_SIGMA = 0.2  # of the drawdown by the well's recorded law, which one pumping test of some hours gave (judged)
PUMPING_MIN = 480.0  # minutes of a day over which its water is taken to flow, for the size of the drawdown
METER_SIGMA = 0.02  # class 2 meter, bucket
IRRADIATION_SIGMA = {"in_plane": 0.03, "horizontal": 0.04}  # reference cell; pyranometer and the tilt model
UNREST_SHARE = 1.2  # of the gap between even and broken light: a day may lie on either side of both (a judgement)
GEAR = 1.02  # a motor's constant tried this much off


class Unit(NamedTuple):
    """One sigma of each installation about its type's sheet, shares (n,): of flow, of head, of power, and of the
    constant of a motor straight on the array."""

    flow: np.ndarray
    head: np.ndarray
    power: np.ndarray
    motor: np.ndarray


def about_the_sheet(fleet):
    """`Unit` of a fleet, by kind of pump and feed."""
    wheel = np.array([p.kind == "centrifugal" for p in fleet.pumps])[fleet.pump_index]
    return Unit(
        np.where(wheel, WHEEL_FLOW, PISTON_FLOW), np.where(wheel, WHEEL_HEAD, 0.0),
        np.where(wheel, 0.0, PISTON_POWER), np.where(fleet.coupling == 0, MOTOR, 0.0),
    )  # fmt: skip


def geared(rows):
    """Rows of `machine.build` of arrays whose motors' constant is GEAR off: more amps at fewer volts for the same."""
    rows = rows.copy()
    for name, power in ((LIGHT, 1), (DARK, 1), (ALPHA, 1), (THERMAL, -1), (SERIES, -2), (CABLE, -2), (SHUNT, -2)):
        rows[:, name] *= GEAR**power
    return rows


def reach(*sigmas):
    """Half of the range that holds 80 % of a normal spread, of sigmas that do not know of each other."""
    return SPREAD_80 * np.sqrt(sum(np.square(sigma) for sigma in sigmas))
