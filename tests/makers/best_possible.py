"""How soon a fault could be noticed at best: by somebody who knew each unit's healthy litres of every day exactly.

    python -m tests.makers.best_possible FOLDER [LACK ...]

Of the faults of a simulated fleet's files that cost at least a tenth of the metered water in sixty days: the share
whose first figure that lacks LACK (0.08 and 0.05 unless said) of the healthy litres of its days came within 7, 14, 30
and 60 days after the onset, and the middle delay. No judging of the same figures can be sooner and as sure: it knows
neither sky nor level so well.
"""

import sys
from collections import defaultdict

import numpy as np

from tests.makers.judged_fleet import day_number, number, table

SEEABLE = 0.1
WITHIN = (7, 14, 30, 60)


def delays(folder, lack):
    """Days (f,) from each seeable fault's onset to its first figure that lacks so much; infinite where none does."""
    due = defaultdict(dict)
    for row in table(folder, "truth_daily"):
        due[row["serial"]][day_number(row["date"])] = (number(row["healthy_l"]), number(row["apparent_l"]))
    read = defaultdict(list)
    for row in table(folder, "readings"):
        if row["kind"] in ("meter", "daily"):
            read[row["serial"]].append((day_number(row["timestamp"]), row["kind"]))
    out = []
    for row in table(folder, "truth"):
        lost = number(row["apparent_lost_60d"])
        if row["is_fault"] != "1" or not lost >= SEEABLE:
            continue
        onset, days = day_number(row["onset_date"]), due[row["serial"]]
        out.append(min((end - onset for end, share in _figures(read[row["serial"]], days)
                        if end >= onset and share < 1 - lack), default=np.inf))  # fmt: skip
    return np.array(out, float)


def _figures(read, days):
    """(last day, share of the healthy litres that the books show) of each figure: a day's, or a meter's period."""
    before = None
    for day, kind in sorted(read):
        covered = [day] if kind == "daily" or before is None else range(before + 1, day + 1)
        before = day
        litres = np.array([days[d] for d in covered if d in days]).reshape(-1, 2).sum(axis=0)
        if litres[0] > 0:
            yield day, litres[1] / litres[0]


if __name__ == "__main__":
    for lack in [float(x) for x in sys.argv[2:]] or [0.08, 0.05]:
        found = delays(sys.argv[1], lack)
        shares = " / ".join(f"{100 * np.mean(found <= day):.0f}" for day in WITHIN)
        print(f"{len(found)} faults, a figure that lacks {lack:.0%}: within {WITHIN} days {shares} %, middle "
              f"{np.median(found):.0f} days")  # fmt: skip
