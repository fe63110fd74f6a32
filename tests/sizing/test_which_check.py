"""Which check on site tells most, from the odds of the causes and what each would show."""

import numpy as np
import pytest

from sizing.causes import checks, names, signatures
from tests.sizing.invented import fleet, row


def odds(**causes):
    given = np.full(len(names.NAMES), 1e-4)
    for name, share in causes.items():
        given[names.NUMBER[name]] = share
    return given / given.sum()


PAIRS = [
    ({"stands_still": 0.5, "meter_stands": 0.5}, {"ask_caretaker", "volts_no_amps", "bucket_against_meter"}),
    ({"dirt": 0.5, "main_leaks": 0.5}, {"look_at_modules", "power_and_flow"}),
    ({"main_leaks": 0.5, "pump_worn": 0.5}, {"first_water"}),
    ({"water_sinks": 0.5, "pump_worn": 0.5}, {"dip"}),
    ({"string_open": 0.5, "dirt": 0.5}, {"look_at_modules", "string_currents"}),
    ({"meter_slow": 0.5, "pump_worn": 0.5}, {"bucket_against_meter", "power_and_flow", "ask_caretaker"}),
    ({"shade_before_noon": 0.5, "frame_turned": 0.5}, {"look_at_modules"}),
    ({"less_drawn": 0.5, "dirt": 0.5}, {"ask_caretaker", "look_at_modules", "power_and_flow"}),
]


@pytest.mark.parametrize(("causes", "right"), PAIRS)
def test_the_first_check_parts_the_leading_two(causes, right):
    chosen = checks.choose(odds(**causes))
    assert chosen[0][0] in right
    assert chosen[0][1] > 0.1


def test_a_check_never_tells_less_than_nothing_nor_more_than_there_is_to_know():
    rng = np.random.default_rng(1)
    for _ in range(20):
        cause = rng.dirichlet(np.full(len(names.NAMES), 0.4))
        for table in checks.outcomes(checks.usual_effects()).values():
            assert -1e-9 <= checks.bits(cause, table) <= checks.entropy(cause) + 1e-9


def test_chances_of_a_checks_outcomes_add_up():
    for name, table in checks.outcomes(checks.usual_effects()).items():
        assert table.shape[0] == len(names.NAMES), name
        if name != "dip" and table.shape[1] < 10:
            np.testing.assert_allclose(table.sum(axis=1), 1, atol=1e-9)


def test_the_second_check_adds_to_the_first_and_is_another():
    chosen = checks.choose(odds(stands_still=0.3, meter_stands=0.3, dirt=0.2, main_leaks=0.2))
    assert len({code for code, _bits in chosen}) == 2


def test_what_is_known_needs_no_check():
    assert checks.choose(odds(dirt=1.0)) == []


def test_a_units_own_signature_says_what_its_readings_would_show():
    sig = signatures.of_unit(fleet(row(strings=2, modules_in_series=1, coupling="direct")), 0, 5)
    size = np.zeros(len(names.NAMES))
    size[names.NUMBER["dirt"]], size[names.NUMBER["water_sinks"]], size[names.NUMBER["string_open"]] = 0.45, 10, 1
    effect = checks.effects(sig, size)
    assert effect.level[names.NUMBER["water_sinks"]] > 5
    for cause in ("dirt", "string_open"):
        mine = np.flatnonzero(sig.cause == names.NUMBER[cause])
        nearest = mine[np.argmin(np.abs(sig.size[mine] - size[names.NUMBER[cause]]))]
        assert effect.flow[names.NUMBER[cause]] == pytest.approx(np.log(sig.flow[nearest, 32]))
    assert effect.flow[names.NUMBER["stands_still"]] < -2
