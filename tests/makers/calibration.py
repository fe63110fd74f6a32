"""Whether the odds of causes hold what they say: of causes given 70 %, about 70 % should be right.

    python -m tests.makers.calibration [UNITS] [SEED]

Simulates units in trouble (`troubled_fleet`), judges them day by day as the nights would, and prints, for the causes of
each fault's first flag, how many of those given 10-20 %, 20-30 %, ... were right; how often the first and the first
three were; and which cause was taken for which, by level of instruments.
"""

import sys

import numpy as np

from sizing.causes.names import NAMES, NOT_A_FAULT
from tests.makers import judged_fleet, run_judged_fleet, sample_fleet, troubled_fleet

EDGES = np.array([0, 0.02, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
SEEABLE = 0.1  # of the metered water lost in sixty days


def first_flags(flags, truth):
    """{unit: odds of its first flag on or after the onset} of faults that can be seen."""
    found = {}
    for unit, day, cause in flags:
        if truth.cause[unit] < 0 or truth.lost[unit] < SEEABLE or day < truth.onset[unit]:
            continue
        if int(np.argmax(cause)) == NOT_A_FAULT and truth.cause[unit] != NOT_A_FAULT:
            continue
        found.setdefault(unit, cause)
    return found


def table(found, truth):
    """Rows (from, to, number, mean odds given, share that was right) of all causes of the first flags."""
    said = np.array(list(found.values()))
    right = np.array([np.arange(len(NAMES)) == truth.cause[u] for u in found])
    rows = []
    for low, high in zip(EDGES, EDGES[1:]):
        here = (said >= low) & ((said < high) | (high == 1.0))
        if here.any():
            rows.append((low, high, int(here.sum()), float(said[here].mean()), float(right[here].mean())))
    return rows


def ranks(found, truth):
    """Place of the right cause among those of the first flag, 0 first, by unit."""
    return {u: int((odds > odds[truth.cause[u]]).sum()) for u, odds in found.items()}


def confusion(found, truth, units):
    """Lines of what was taken for what among some units."""
    head = "".join(f"{name[:7]:>8s}" for name in NAMES)
    lines = [f"{'':18s}{head}"]
    for number, name in enumerate(NAMES):
        mine = [int(np.argmax(found[u])) for u in units if truth.cause[u] == number]
        if mine:
            counts = np.bincount(mine, minlength=len(NAMES))
            lines.append(f"{name:18s}" + "".join(f"{c or '.':>8}" for c in counts))
    return lines


def main(units=240, seed=1):
    like = judged_fleet.read(sample_fleet.FOLDER)
    made, truth = troubled_fleet.make(like.fleet, like.sites.float_switch, units, seed=seed)
    _fleet, flags, *_ = run_judged_fleet.run(made)
    found = first_flags(flags, truth)
    place = ranks(found, truth)
    print("given             causes   mean said   right")
    for low, high, count, said, right in table(found, truth):
        print(f"{100 * low:3.0f} - {100 * high:3.0f} %   {count:10d}   {100 * said:6.0f} %   {100 * right:5.0f} %")
    for level in ("A", "B", "C"):
        mine = [u for u in found if made.level[u] == level]
        if mine:
            first = np.mean([place[u] == 0 for u in mine])
            three = np.mean([place[u] < 3 for u in mine])
            print(f"\nlevel {level}: {len(mine)} faults, right first {100 * first:.0f} %, in three {100 * three:.0f} %")
            print("\n".join(confusion(found, truth, mine)))


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]))
