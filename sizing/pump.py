"""The pump: flow over head and power, fitted to the points of a test sheet.

What is fitted is the other way round: the power the motor needs (and its voltage and current) to give a flow at a head,
as a sum of terms head^a * flow^b that may only be added, never taken away (non-negative least squares; Lawson & Hanson
1974). The terms are those that the machines' own equations give:

* positive displacement: speed is flow plus a slip that grows with head, torque is head plus friction that grows with
  speed, voltage is speed plus resistance times current; power is their product;
* centrifugal: the affinity laws, speed ~ sqrt(head) when flow/sqrt(head) is kept; power of the third degree in
  (sqrt head, flow), torque and current of the second, speed and voltage of the first; a constant for the electronics.

So more head or more flow always needs more power; turned round, flow rises with power, falls with head and is zero
below the threshold at which the sum without flow already needs all there is. Scattered, noisy or few points (three at
the least) do not change that. Outside the points the same equations carry on, and the answer says so (`outside`).
"""

from typing import NamedTuple

import numpy as np
from scipy.optimize import nnls

from . import compiled
from .checks import Refusal, known, one_of, within
from .units import hydraulic_power_w

KINDS = ("diaphragm", "piston", "helical", "centrifugal")
# exponents (of sqrt(head / scale), of flow / scale) in the order of the coefficients
TERMS = ((0, 0), (1, 0), (2, 0), (3, 0), (4, 0), (6, 0), (0, 1), (2, 1), (4, 1), (0, 2), (1, 2), (2, 2), (0, 3), (1, 1))
_DISPLACEMENT = {
    "power": ((0, 0), (2, 0), (4, 0), (6, 0), (0, 1), (2, 1), (4, 1), (0, 2), (2, 2), (0, 3)),
    "voltage": ((0, 0), (2, 0), (4, 0), (6, 0), (0, 1), (2, 1), (0, 2)),
    "current": ((0, 0), (2, 0), (4, 0), (0, 1), (2, 1), (0, 2)),
}
_ROTARY = {
    "power": ((0, 0), (1, 0), (2, 0), (3, 0), (4, 0), (0, 1), (2, 1), (1, 1), (0, 2), (1, 2), (0, 3)),
    "voltage": ((0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (0, 2), (1, 2), (0, 3)),
    "current": ((0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (0, 2), (2, 1), (1, 2), (0, 3)),
}
# Acceptance of a pump's promised point: (flow, head) as +- shares. ISO 9906:2012 grades 1B, 2B, 3B (from memory), and
# for shaft power below 10 kW with no grade agreed, which is the case for small pumps (clause 4.4.2; a trade article)
ACCEPTANCE = {"1B": (0.05, 0.03), "2B": (0.08, 0.05), "3B": (0.09, 0.07), "below 10 kW": (0.10, 0.08)}
Y_MOST = 10.0  # no answer beyond ten times the largest flow tested, and nobody asks for one
BENCH_NOISE = 0.012  # one sigma of a flow on a test bench, assumed where the sheet does not say


class Outside(NamedTuple):
    """True where the answer rests on no test point: head or power beyond those tried, or flow beyond the largest."""

    head: np.ndarray
    power: np.ndarray
    flow: np.ndarray


@compiled(inline="always")
def needed(c, s, y):
    """The fitted sum at s = sqrt(head / scale) and y = flow / scale; c holds the coefficients in the order of TERMS."""
    x = s * s
    zero = c[0] + s * c[1] + x * (c[2] + s * c[3] + x * (c[4] + x * c[5]))
    one = c[6] + s * c[13] + x * (c[7] + x * c[8])
    two = c[9] + s * c[10] + x * c[11]
    return zero + y * (one + y * (two + y * c[12]))


@compiled()
def flow_share(c, s, power):
    """y = flow / scale at which the sum equals power; zero below the threshold. Newton from above on a convex sum."""
    x = s * s
    zero = c[0] + s * c[1] + x * (c[2] + s * c[3] + x * (c[4] + x * c[5]))
    left = power - zero
    if not left > 1e-12 * power:  # at the threshold or below it, as near as numbers can tell
        return np.nan if np.isnan(left) else 0.0
    one = c[6] + s * c[13] + x * (c[7] + x * c[8])
    two = c[9] + s * c[10] + x * c[11]
    three = c[12]
    y = Y_MOST  # the smallest of the bounds that each term alone gives lies above the root
    if Y_MOST * (one + Y_MOST * (two + Y_MOST * three)) <= left:
        return Y_MOST
    if one > 0.0:
        y = min(y, left / one)
    if two > 0.0:
        y = min(y, np.sqrt(left / two))
    if three > 0.0:
        y = min(y, np.cbrt(left / three))
    for _ in range(40):
        slope = one + y * (2.0 * two + y * 3.0 * three)
        if not slope > 0.0:  # a rest too small for numbers to tell
            break
        step = (y * (one + y * (two + y * three)) - left) / slope
        y -= step
        if abs(step) < 1e-12 * (1.0 + y):
            break
    return y


@compiled()
def _flows(c, s, power, out):
    for i in range(s.size):
        out[i] = flow_share(c, s[i], power[i])


@compiled()
def _sums(c, s, y, out):
    for i in range(s.size):
        out[i] = needed(c, s[i], y[i])


class PumpCurve:
    """A pump type's behaviour, fitted to its test points.

    Give the sheet's columns (one value a point): head_m, power_w at the motor's leads, flow_l_min (0 = does not lift),
    and where known voltage_v and current_a. Any layout; three lifting points at two heads or more are the least.
    Refuses: a NaN among head, power and flow (by its place), negative values, fewer points, an unknown kind.
    Kept: `spread`, the relative misfit of power at the points (one sigma), and the limits within which it was tried.
    """

    def __init__(self, kind, head_m, power_w, flow_l_min, voltage_v=None, current_a=None, name=""):
        self.name, self.kind = name, one_of(kind, KINDS, "kind")
        head, power, flow = (
            _column(values, label)
            for values, label in ((head_m, "head_m"), (power_w, "power_w"), (flow_l_min, "flow_l_min"))
        )
        if not head.size == power.size == flow.size:
            raise Refusal("head_m", head.size, because="head_m, power_w and flow_l_min need one value a point each")
        lifts = flow > 0
        if lifts.sum() < 3:
            raise Refusal("flow_l_min", int(lifts.sum()), (3, np.inf), because="three points that lift are the least")
        if np.unique(head[lifts]).size < 2:
            raise Refusal("head_m", float(head[lifts][0]), because="points at two different heads are the least")
        if (power[lifts] < hydraulic_power_w(flow[lifts], head[lifts])).any():
            worst = int(np.argmax(np.where(lifts, hydraulic_power_w(flow, head) / np.maximum(power, 1e-9), 0)))
            raise Refusal("power_w", float(power[worst]), because="less than the lifted water carries away", row=worst)
        self.points = np.stack([head, power, flow])
        self.head_scale, self.flow_scale = float(head.max()), float(flow.max())
        self.head_limits = float(head[lifts].min()), float(head[lifts].max())
        self.power_limits = float(power[lifts].min()), float(power[lifts].max())
        self.flow_limit = float(flow.max())
        menu = _ROTARY if kind == "centrifugal" else _DISPLACEMENT
        self.power_c = _fit(menu["power"], self._share(head), flow / self.flow_scale, power, lifts)
        self.spread = float(np.std(self.power_needed(head[lifts], flow[lifts]) / power[lifts] - 1))
        volts = np.full(head.size, np.nan) if voltage_v is None else np.asarray(voltage_v, float)
        amps = np.full(head.size, np.nan) if current_a is None else np.asarray(current_a, float)
        both = lifts & np.isfinite(volts) & np.isfinite(amps)
        self.knows_voltage = bool(both.sum() >= 3)
        self.voltage_c = self.current_c = np.full(len(TERMS), np.nan)
        # A sheet ends where the motor may turn no faster: nothing is promised beyond its highest voltage
        self.voltage_limit = np.inf
        if self.knows_voltage:
            self.voltage_c = _fit(menu["voltage"], self._share(head), flow / self.flow_scale, volts, both)
            self.voltage_limit = float(volts[both].max())
            self.current_c = _fit(menu["current"], self._share(head), flow / self.flow_scale, amps, both)

    def _share(self, head_m):
        return np.sqrt(np.asarray(head_m, float) / self.head_scale)

    def _sum(self, coefficients, head_m, flow_l_min):
        head, flow = np.broadcast_arrays(within(head_m, 0, 1e4, "head_m"), within(flow_l_min, 0, 1e5, "flow_l_min"))
        out = np.empty(head.size)
        _sums(coefficients, self._share(head).ravel(), flow.ravel() / self.flow_scale, out)
        return out.reshape(head.shape)

    def _turned_round(self, coefficients, head_m, amount):
        head, amount = np.broadcast_arrays(within(head_m, 0, 1e4, "head_m"), amount)
        out = np.empty(head.size)
        _flows(coefficients, self._share(head).ravel(), np.ascontiguousarray(amount, float).ravel(), out)
        return out.reshape(head.shape) * self.flow_scale

    def power_needed(self, head_m, flow_l_min):
        """Power at the motor's leads, W, to give this flow at this head. Shapes broadcast."""
        return self._sum(self.power_c, head_m, flow_l_min)

    def flow(self, head_m, power_w):
        """Flow, L/min, at a head and a power; zero below the lifting threshold. Shapes broadcast."""
        return self._turned_round(self.power_c, head_m, within(power_w, 0, 1e6, "power_w"))

    def threshold(self, head_m):
        """Power, W, below which nothing is lifted to this head."""
        return self.power_needed(head_m, 0.0)

    def flow_at_voltage(self, head_m, voltage_v):
        """Flow, L/min, at a head and a voltage at the motor's leads. Needs points with voltage and current."""
        self._ask_voltage()
        return self._turned_round(self.voltage_c, head_m, within(voltage_v, 0, 2000, "voltage_v"))

    def current(self, voltage_v, head_m):
        """Current, A, that the motor takes at a voltage and a head: the pump's own volt-ampere line.

        Below the lifting threshold the motor stands, or turns without lifting: then the current at the threshold.
        """
        return self.current_needed(head_m, self.flow_at_voltage(head_m, voltage_v))

    def voltage_needed(self, head_m, flow_l_min):
        """Voltage at the motor's leads, V, for this flow at this head."""
        self._ask_voltage()
        return self._sum(self.voltage_c, head_m, flow_l_min)

    def current_needed(self, head_m, flow_l_min):
        """Current, A, for this flow at this head."""
        self._ask_voltage()
        return self._sum(self.current_c, head_m, flow_l_min)

    def efficiency(self, head_m, power_w):
        """Wire-to-water efficiency at a head and power, 0-1."""
        power = np.asarray(power_w, float)
        return hydraulic_power_w(self.flow(head_m, power), head_m) / np.where(power > 0, power, np.nan)

    def outside(self, head_m, power_w):
        """Where the answer of `flow` rests on no test point (Outside). Power below the least that lifted is not flagged
        as long as nothing is lifted there either."""
        head, power = np.broadcast_arrays(np.asarray(head_m, float), np.asarray(power_w, float))
        flow = self.flow(head, power)
        low, high = self.head_limits
        return Outside(
            (flow > 0) & ((head < low * 0.98) | (head > high * 1.02)),
            (flow > 0) & ((power < self.power_limits[0] * 0.98) | (power > self.power_limits[1] * 1.02)),
            flow > self.flow_limit * 1.02,
        )

    def scale_of_test(self, head_m, power_w, flow_l_min):
        """How much more one unit gives than its type: its own test points against the curve, their middle (median).

        Refuses points outside 0.5-1.5 of the type, which belong to another type or another unit of measure.
        """
        own, head, power = known(flow_l_min, "flow_l_min"), known(head_m, "head_m"), known(power_w, "power_w")
        expected = self.flow(head, power)
        if np.any(expected <= 0):
            raise Refusal("power_w", power.tolist(), because="the type's curve lifts nothing at this test point")
        return float(within(float(np.median(own / expected)), 0.5, 1.5, "flow_scale"))

    def _ask_voltage(self):
        if not self.knows_voltage:
            raise Refusal("voltage_v", None, because="direct coupling needs test points with voltage and current")


def affinity(flow_l_min, head_m, power_w, speed_ratio):
    """(flow, head, power) of a centrifugal pump at another speed: ratio, its square, its cube. Shapes broadcast.

    Holds for one pump, turbulent flow, moderate change of speed. Source: the affinity laws.
    """
    ratio = within(speed_ratio, 0, 5, "speed_ratio", open_low=True)
    flow, head = within(flow_l_min, 0, 1e6, "flow_l_min"), within(head_m, 0, 1e4, "head_m")
    power = within(power_w, 0, 1e7, "power_w")
    flow, head, power, ratio = np.broadcast_arrays(flow, head, power, ratio)
    return flow * ratio, head * ratio**2, power * ratio**3


def within_acceptance(flow_l_min, promised_flow_l_min, grade="below 10 kW"):
    """Whether a measured flow at the promised head lies within the grade's tolerance. Shapes broadcast."""
    share = ACCEPTANCE[one_of(grade, ACCEPTANCE, "grade")][0]
    promised = within(promised_flow_l_min, 0, 1e5, "promised_flow_l_min", open_low=True)
    return np.abs(within(flow_l_min, 0, 1e5, "flow_l_min") / promised - 1) <= share


def _column(values, label):
    column = np.atleast_1d(known(values, label)).ravel()
    if (column < 0).any():
        place = int(np.argmax(column < 0))
        raise Refusal(label, float(column[place]), (0, np.inf), row=place)
    return column


def _fit(menu, s, y, values, use):
    """Coefficients in the order of TERMS, none below zero. Each point weighs by what its own noise lets it say: half a
    per cent of its own value, and the bench's noise of flow through the slope."""
    columns = np.stack([s**a * y**b for a, b in menu], axis=1)[use]
    slopes = np.stack([s**a * b * y ** max(b - 1, 0) for a, b in menu], axis=1)[use]
    target = values[use]
    noise = 0.01 * target
    coefficients = np.zeros(len(menu))
    for _ in range(3):
        coefficients, _rest = nnls(columns / noise[:, None], target / noise)
        noise = np.hypot(0.005 * target, BENCH_NOISE * y[use] * (slopes @ coefficients))
    out = np.zeros(len(TERMS))
    for (a, b), value in zip(menu, coefficients, strict=True):
        out[TERMS.index((a, b))] = value
    return out
