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


CONFIRMED = [
    ("shade_before_noon", {"look_at_shade"}),
    ("shade_after_noon", {"look_at_shade"}),
    ("dirt", {"look_at_modules"}),
    ("frame_turned", {"look_at_modules"}),
    ("meter_stands", {"bucket_against_meter"}),
    ("stands_still", {"volts_no_amps"}),
    ("string_open", {"string_currents"}),
    ("water_sinks", {"dip", "power_and_flow"}),
    ("main_leaks", {"first_water", "power_and_flow"}),
    ("poor_joint", {"drop_under_load"}),
    ("cuts_out", {"watch_stops"}),
]


@pytest.mark.parametrize(("cause", "right"), CONFIRMED)
@pytest.mark.parametrize("other", ["pump_worn", "dirt", "water_sinks"])
def test_a_cause_that_is_all_but_sure_is_confirmed_by_the_quickest_check_that_shows_it(cause, right, other):
    if other != cause:
        assert checks.choose(odds(**{cause: 0.93, other: 0.07}))[0][0] in right


def test_up_to_nine_in_ten_the_leading_causes_are_parted_instead():
    for lead in (0.6, 0.85):
        first, bits = checks.choose(odds(shade_before_noon=lead, dirt=1 - lead))[0]
        assert first != "look_at_shade"
        tables = checks.outcomes(checks.usual_effects())
        worth = {c: checks.bits(odds(shade_before_noon=lead, dirt=1 - lead), t) / checks.MINUTES[c] ** checks.HURRY
                 for c, t in tables.items()}  # fmt: skip
        assert first == max(worth, key=worth.get) and bits > 0.1


def test_what_no_check_shows_by_itself_is_parted_as_before_however_sure_it_is():
    first = checks.choose(odds(pump_worn=0.93, water_sinks=0.07))[0][0]
    assert first not in checks.at_their_hours() and first in checks.outcomes(checks.usual_effects())


def test_the_check_beside_a_confirming_one_is_another_and_adds_to_it():
    chosen = checks.choose(odds(shade_before_noon=0.91, pump_worn=0.05, string_open=0.04))
    assert chosen[0][0] == "look_at_shade" and len({code for code, _bits in chosen}) == len(chosen)


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
