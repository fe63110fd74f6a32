"""The bound that no judging of the same figures can pass, on a handful of rows whose answer is known."""

import csv

import numpy as np

from tests.makers import best_possible

DAY = np.datetime64("2024-03-01")


def written(folder, name, rows):
    with (folder / f"{name}.csv").open("w", newline="") as file:
        out = csv.DictWriter(file, list(rows[0]))
        out.writeheader()
        out.writerows(rows)


def a_fleet(folder, kept, read):
    """One unit that keeps so much of 1,000 L on each day, and the days on which it was read, by kind."""
    written(folder, "truth", [{"serial": "A", "is_fault": 1, "onset_date": DAY + 10, "apparent_lost_60d": 0.3}])
    written(folder, "truth_daily", [
        {"serial": "A", "date": DAY + n, "healthy_l": 1000, "apparent_l": 1000 * share} for n, share in enumerate(kept)
    ])  # fmt: skip
    written(folder, "readings", [{"serial": "A", "timestamp": f"{DAY + n}T12:00", "kind": kind} for n, kind in read])


def test_a_meters_first_period_that_lacks_enough_is_the_first_to_tell(tmp_path):
    kept = [1.0] * 10 + [0.7] * 50
    a_fleet(tmp_path, kept, [(n, "meter") for n in (5, 12, 26, 40)])
    assert best_possible.delays(tmp_path, 0.08).tolist() == [2.0]  # three of its seven days lack 30 %: 12.9 %
    assert best_possible.delays(tmp_path, 0.2).tolist() == [16.0]
    assert best_possible.delays(tmp_path, 0.4).tolist() == [np.inf]


def test_a_daily_unit_is_told_by_the_day_itself_and_what_came_before_the_onset_tells_nothing(tmp_path):
    kept = [0.5] * 3 + [1.0] * 7 + [0.7] * 50
    a_fleet(tmp_path, kept, [(n, "daily") for n in range(60)])
    assert best_possible.delays(tmp_path, 0.08).tolist() == [0.0]
