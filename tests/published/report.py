"""Every check against a number from outside the project, with how far the package lies from it.

    python -m tests.published.report [words that a check's name must contain]

Runs the tests of this folder and notes each comparison they make. A line a check: the table it stands in, its name, how
many numbers were compared, the largest deviation as a share of the published number and as a share of what the test
allows; in the end a line a table. A comparison with zero has no relative deviation and shows only the second.
"""

import sys
from pathlib import Path

import numpy as np
import pytest

HERE = Path(__file__).parent
# Table of published values a check belongs to, by the words in the check's name, the first that fits. Names of our own:
# S sun and sky, M magnetic field, P photovoltaics, C cable, H pipe, W well, U pump and use, E electrical, T statistics.
TABLES = [
    ("nrel_example", "S1"), ("clock_times_and_bearings", "S2"), ("noon_is_twelve", "S2"), ("all_sites_at_once", "S2"),
    ("fao_table", "S4"), ("fao_", "S3"), ("average_day", "S5"), ("duffie_beckman", "S6"), ("test_s7", "S7"),
    ("test_example", "S7"), ("diffuse_part_of_an_hour", "S8"), ("hour_shares", "S9"), ("shares_at_the_equator", "S9"),
    ("profile_at_chicago", "S10"), ("test_s11", "S11"), ("on_a_plane", "S11"), ("agencys_tilted", "S12"),
    ("monthly_diffuse", "S13"), ("the_default_", "S14"), ("kinds_of_day_spread", "S14"), ("clear_sky", "S15"),
    ("air_mass", "S15"), ("official_test_values", "M1"), ("declination_at_sites", "M2"), ("windhoek", "M2"),
    ("test_cell_temperature", "P2"), ("test_p2", "P2"), ("linear_model", "P3"), ("single_diode", "P4"),
    ("translation", "P5"), ("field_arithmetic", "P6"), ("glass", "P6"), ("conductor", "C1"),
    ("temperature_factor", "C2"), ("loop_loss", "C3"), ("walls", "H1"), ("test_water", "H2"),
    ("friction_factor", "H3"), ("white_example", "H3"),
    ("head_loss", "H4"), ("printed_friction", "H5"), ("network_solver", "H6"), ("steel", "H7"), ("fittings", "H7"),
    ("pressure_class", "H8"), ("well_function", "W1"), ("straight_line_error", "W1"), ("gridley", "W2"),
    ("oude", "W3"), ("step_test", "W4"), ("specific_capacity", "W5"), ("hydraulic", "U1"), ("wire_to_water", "U1"),
    ("affinity", "U2"), ("acceptance", "U3"), ("u4", "U4"), ("insulation", "E1"), ("strings_of_a_kind", "E2"),
    ("remissions", "T1"), ("weibull", "T2"), ("cumulative_sums", "T3"), ("montgomery", "T3"), ("one_sided_run", "T3"),
    ("moving_averages", "T5"), ("worked_series", "T4"), ("poisson", "T6"), ("sens_own", "T7"),
]  # fmt: skip


class Compared:
    """What `pytest.approx` gives, noting each comparison on the way."""

    __array_ufunc__ = None
    __array_priority__ = 100
    __hash__ = None

    def __init__(self, notes, inner, expected, relative, absolute):
        self.notes, self.inner, self.expected = notes, inner, expected
        self.relative, self.absolute = relative, absolute

    def __eq__(self, actual):
        self.notes.book(actual, self.expected, self.relative, self.absolute)
        return self.inner == actual

    def __ne__(self, actual):
        return not self == actual

    def __repr__(self):
        return repr(self.inner)


class Notes:
    """A pytest plugin: comparisons by check, (how many, largest relative deviation, largest share of the allowance)."""

    def __init__(self):
        self.rows, self.failed, self.now, self.passed = {}, [], None, {}

    def book(self, actual, expected, relative, absolute, together=False):
        """Notes a comparison; the two allowances hold together (added) or the larger of them."""
        try:
            got, wanted = np.broadcast_arrays(np.asarray(actual, float), np.asarray(expected, float))
        except (TypeError, ValueError):
            return  # words, mappings
        gap = np.abs(got - wanted)
        relative = relative * np.abs(wanted)
        allowed = relative + absolute if together else np.maximum(relative, absolute)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(wanted != 0, gap / np.abs(wanted), np.nan)
            used = np.where(allowed > 0, gap / allowed, np.where(gap > 0, np.inf, 0.0))
        count, worst, most = self.rows.get(self.now, (0, 0.0, 0.0))
        here = np.nanmax(share) if np.isfinite(share).any() else 0.0
        self.rows[self.now] = count + gap.size, max(worst, here), max(most, float(np.nanmax(used, initial=0.0)))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_call(self, item):
        self.now = item.nodeid.split("[")[0].rsplit("/", 1)[-1]
        plain, close = pytest.approx, np.testing.assert_allclose

        def approx(expected, rel=None, abs=None, nan_ok=False):  # noqa: A002
            relative = rel if rel is not None else (0.0 if abs is not None else 1e-6)
            inner = plain(expected, rel=rel, abs=abs, nan_ok=nan_ok)
            return Compared(self, inner, expected, relative, abs if abs is not None else 1e-12)

        def assert_allclose(actual, desired, rtol=1e-7, atol=0, **more):
            self.book(actual, desired, rtol, atol, together=True)
            close(actual, desired, rtol=rtol, atol=atol, **more)

        pytest.approx, np.testing.assert_allclose = approx, assert_allclose
        try:
            return (yield)
        finally:
            pytest.approx, np.testing.assert_allclose = plain, close

    def pytest_runtest_logreport(self, report):
        if report.when == "call":
            name = report.nodeid.split("[")[0].rsplit("/", 1)[-1]
            self.passed[name] = self.passed.get(name, 0) + (report.outcome == "passed")
            if report.failed:
                self.failed.append(report.nodeid)


def table_of(name):
    """The table a check stands in, "other" for properties and our own limits."""
    return next((table for word, table in TABLES if word in name), "other")


def main(words):
    notes = Notes()
    arguments = [str(HERE), "-q", "-p", "no:cacheprovider", "-p", "no:randomly", "--no-header", "--no-summary"]
    pytest.main(arguments + (["-k", " and ".join(words)] if words else []), plugins=[notes])
    print()
    by_table = {}
    order = {table: n for n, (_, table) in enumerate(TABLES)}
    names = sorted(notes.passed, key=lambda n: (order.get(table_of(n), 999), n))
    print(f"{'table':6} {'numbers':>7} {'largest':>9} {'of allowed':>10}  check")
    for name in names:
        count, worst, most = notes.rows.get(name, (0, 0.0, 0.0))
        table = table_of(name)
        old = by_table.get(table, (0, 0, 0.0, 0.0))
        by_table[table] = old[0] + 1, old[1] + count, max(old[2], worst), max(old[3], most)
        shown = f"{worst:9.1e} {most:10.0%}" if count else f"{'':9} {'':10}"
        print(f"{table:6} {count:7} {shown}  {name.split('::')[-1].removeprefix('test_').replace('_', ' ')}")
    print()
    for table, (checks, count, worst, most) in by_table.items():
        far = f"largest deviation {worst:.1e}, {most:.0%} of what is allowed" if count else "compared as they are"
        print(f"{table:6} {checks:3} checks, {count:5} numbers: {far}")
    print(f"{sum(notes.passed.values())} passed, {len(notes.failed)} failed {' '.join(notes.failed)}")
    return 1 if notes.failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
