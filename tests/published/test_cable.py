"""Cable against numbers from outside the project (rows C1-C3)."""

import pytest

from sizing import cable
from tests.published import tables


@pytest.mark.parametrize("row", tables.rows("iec60228_copper.csv"), ids=lambda r: r["section_mm2"])
def test_conductor_resistance(row):
    """C1 (seen): IEC 60228:2004, tables 2 and 3."""
    section = float(row["section_mm2"])
    assert cable.ohm_per_km(section, 2) == pytest.approx(float(row["class2_plain"]), rel=1e-9)
    assert cable.ohm_per_km(section, 5) == pytest.approx(float(row["class5_plain"]), rel=1e-9)


# C2 (seen): factors as printed with the standard's tables, 1/(1+0.004(t-20)); copper's own law differs by up to 0.4 %
FACTORS = {5: 1.064, 10: 1.042, 15: 1.020, 25: 0.980, 30: 0.962, 35: 0.943, 40: 0.926, 45: 0.909, 50: 0.893, 60: 0.862,
           70: 0.833, 80: 0.806, 90: 0.781}  # fmt: skip


@pytest.mark.parametrize(("celsius", "factor"), FACTORS.items())
def test_temperature_factor(celsius, factor):
    assert cable.temperature_factor(celsius) == pytest.approx(factor, abs=0.004)


# C3 (definition): amps, m, mm2, class, C, supply V -> loop ohm, drop V, %, loss W; tolerance 0.1 %
LOSSES = [
    (6, 40, 4, 2, 40, 72, 0.39779, 2.3867, 3.315, 14.32),
    (8.5, 60, 6, 2, 45, 100, 0.40591, 3.4503, 3.450, 29.33),
    (3.2, 30, 2.5, 5, 60, 36, 0.55407, 1.7730, 4.925, 5.67),
    (10, 80, 16, 2, 25, 120, 0.18762, 1.8762, 1.563, 18.76),
]


@pytest.mark.parametrize(("amps", "m", "mm2", "kind", "c", "volts", "ohm", "drop", "percent", "watts"), LOSSES)
def test_loop_loss(amps, m, mm2, kind, c, volts, ohm, drop, percent, watts):
    got = cable.loss(amps, m, mm2, volts, kind, c)
    assert got.loop_ohm == pytest.approx(ohm, rel=1e-3)
    assert got.drop_v == pytest.approx(drop, rel=1e-3)
    assert 100 * got.drop_fraction == pytest.approx(percent, rel=1e-3)
    assert got.loss_w == pytest.approx(watts, rel=1e-3)
    assert got.loss_w == pytest.approx(amps * got.drop_v)


@pytest.mark.parametrize(("amps", "m", "mm2", "kind", "c", "volts", "ohm", "drop", "percent", "watts"), LOSSES)
def test_the_section_chosen_meets_the_drop_and_the_next_smaller_does_not(
    amps, m, mm2, kind, c, volts, ohm, drop, percent, watts
):
    assert cable.smallest_section(amps, m, volts, percent / 100 * 1.001, kind, c) == mm2
    assert cable.smallest_section(amps, m, volts, percent / 100 * 0.99, kind, c) > mm2
