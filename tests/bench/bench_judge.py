"""How many installations a second the evidence step judges: sky, expectation, evidence, on arrays, in one process.

    python -m tests.bench.bench_judge [installations]

Reads and writes of the database are not in these figures. Prints installations a second for one and two sizes, to
show that the cost grows
in proportion, and the time that the causes of one unit take.
"""

import sys
import time

import numpy as np

from sizing import judge
from sizing.causes import odds, signatures, table
from tests.sizing.invented import fleet as invented_fleet
from tests.sizing.invented import row


def night(n, first=19500, nights=5):
    """Seconds a night for n daily-metered installations scattered over a country."""
    fleet = invented_fleet(row())
    few = table.build(fleet, np.full((fleet.n, 12), 0.7), np.zeros(fleet.n))
    t = few.take(np.arange(n) % fleet.n)
    rng = np.random.default_rng(1)
    lat, lon = rng.uniform(8, 14, n), rng.uniform(-4, 4, n)
    sites = judge.Sites(np.zeros(n, bool), np.full(n, np.nan), np.zeros(n, bool))
    net = judge.network(lat, lon, np.ones(n, bool))
    state = judge.new_state(n, -0.05, 0.05, 3000.0, first)
    missing = np.full(n, np.nan)
    seconds = []
    for day in range(first, first + nights):
        due, _ = t.water(np.arange(n), judge.day_of_year(day), rng.normal(0.8, 0.5, n))
        days = judge.Days(np.arange(n), due * np.exp(rng.normal(-0.05, 0.03, n)), *[missing] * 5)
        start = time.perf_counter()
        seen, var = judge.tell(state, sites, t, days, day)
        sky = judge.read_sky(net, t.prior(judge.day_of_year(day)) + state.sky_bias, seen, var)
        state, rows = judge.night(
            state, sites, t, sky, days, None, day, judge.learn_patchiness(state.patchy, sky, net)
        )
        seconds.append(time.perf_counter() - start)
    return float(np.median(seconds))


def causes():
    """Seconds to ask the causes of one unit with 80 day records."""
    from tests.sizing.one_unit import DAY, FIRST, fell, rows_of

    fleet = invented_fleet(row())
    sig = signatures.of_unit(fleet, 0, 5)
    rows = rows_of(fell(12, 0.75))
    start = time.perf_counter()
    for _ in range(20):
        odds.judge(rows, sig, DAY, FIRST, 0.0, 0.05)
    return (time.perf_counter() - start) / 20


def main(n=20000):
    for size in (n // 2, n):
        spent = night(size)
        print(f"{size} installations: {spent:.2f} s a night, {size / spent:,.0f} a second in one process")
    print(f"causes of one unit: {1000 * causes():.0f} ms")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:2]))
