"""Why a test on site will fall short, as far as it is known before: packed small, weighed on the telephone at the well.

What the telephone makes of it and of the readings are the odds that `causes_of_test` gives once the test has come home.
"""

from base64 import b64encode
from hashlib import sha256
from types import SimpleNamespace

import numpy as np
from django.db.models import Count, Max, Q

from fleet.output.models import Judgement
from fleet.output.services.learning import taught_rates
from fleet.output.services.nightly import cases, cohort, onsite, packing
from fleet.output.services.nightly.load import as_number
from fleet.output.services.spot_causes import LEAST, MOST, READ
from fleet.readings.models import SpotTest
from sizing import judge
from sizing.causes import channels, checks, names, odds, table, weigh
from sizing.causes import onsite as told
from sizing.causes.signatures import GOOD_SUN
from sizing.judge import onsite as tests
from sizing.judge import record
from sizing.judge.ahead import DOUBTS, SHARES, USUAL_SUN, ahead

FORM = 3  # raise it when what is packed, or how it is worked out, changes
SUNS = (250.0, 300.0, 400.0, 550.0, 800.0, 1000.0, 1250.0)  # W/m2 at which what is due and what faults do are packed
METRES = ("level", "rest")  # channels that are told in metres, not as logarithms


def ahead_of(installation_ids, day):
    """{installation: what a telephone weighs its test of that day with}; those that cannot be told of left out."""
    ids = sorted(set(installation_ids))
    known = cohort.load(ids, day.year)[0] if ids else None
    if known is None:
        return {}
    judged = Judgement.objects.filter(pk__in=ids).values_list("pk", "state", "sound_since")
    standing = {pk: (state, since) for pk, state, since in judged}
    found = [standing.get(pk, (None, None)) for pk in known.ids.tolist()]
    noise = np.ones(len(known))
    state, good = packing.unpack_states([state for state, _since in found])
    if good.any():
        noise[good] = state.noise
    known.sound_from = np.array([as_number(since) if since else -1 for _state, since in found])
    known.rates = taught_rates(known)
    number = as_number(day)
    history = cases.History(known.ids, number + 1, number, onsite.Tests(known, number, number))
    _begun_before(known, number)
    asked = cases.asked_of(known, SimpleNamespace(noise=noise), history, {}, list(range(len(known))), number)
    made = {int(known.ids[unit]): _packed(known, unit, one, day) for unit, one in asked}
    return {pk: one for pk, one in made.items() if one is not None}


def ahead_marks(installation_ids, day):
    """{installation: a mark that changes with what `ahead_of` that day rests on}: how it was judged, and its tests."""
    judged = {
        pk: rest for pk, *rest in Judgement.objects.filter(pk__in=installation_ids).values_list(
            "pk", "through", "sound_since", "judged_at"
        )
    }  # fmt: skip
    seen = SpotTest.objects.filter(installation_id__in=installation_ids).values("installation_id").annotate(
        tests=Count("pk"), last=Max("pk"), counted=Count("pk", filter=Q(standing__in=(0, 2)))
    )  # fmt: skip
    tested = {row["installation_id"]: (row["tests"], row["last"], row["counted"]) for row in seen}
    about = (FORM, day.isoformat())
    return {
        pk: sha256(repr((about, judged.get(pk), tested.get(pk))).encode()).hexdigest() for pk in installation_ids
    }


def weighing():
    """What every unit's test is weighed by, the same for all: once a pack."""
    fixed = checks.outcomes(checks.usual_effects())
    return {
        "causes": list(names.NAMES), "spread": [round(v, 6) for v in odds.SPREAD.tolist()], "soft": weigh.SOFT,
        "least": weigh.LEAST, "count_sd": channels.COUNT_SD, "runs": channels.RUNS, "bright": channels.BRIGHT_W_M2,
        "least_sun": tests.LEAST_SUN_W_M2, "least_flow": tests.LEAST_FLOW_L_MIN, "model": tests.MODEL_SD,
        "least_sd": tests.LEAST_SD, "too_open": tests.TOO_OPEN, "sure_of_sun": tests.SURE_OF_SUN,
        "noon_trust": odds.NOON_TRUST, "misread": odds.MISREAD_TEST, "misread_sd": odds.MISREAD_SD,
        "trifle": odds.TRIFLE, "ruled_out": odds.RULED_OUT, "most": MOST, "named": LEAST,
        "less_at": {"share": list(SHARES), "sd": list(DOUBTS), "cause": names.NOT_A_FAULT},
        "check": {
            "sd": [checks.AMPS_SD, checks.VOLTS_SD, checks.FLOW_SD, checks.LEVEL_SD], "clearly": checks.CLEARLY,
            "hurry": checks.HURRY, "least_bits": checks.LEAST_BITS, "minutes": checks.MINUTES, "most": 2,
            "good_sun": GOOD_SUN, "usual": np.stack(checks.usual_effects(), axis=1).tolist(),
            "as_usual": list(checks.AS_USUAL), "dead": names.NUMBER["stands_still"], "dead_dip": checks.DEAD_DIP,
            "read": {code: list(needs) for code, needs in READ.items()},
            "sure": [checks.SURE, checks.FOUND_SO, checks.TIMES],
            "at_their_hours": {code: rows.tolist() for code, rows in checks.at_their_hours().items()},
            "outcomes": {
                code: [_list(row, 4) for row in rows] for code, rows in fixed.items() if code not in checks.BY_EFFECT
            },
        },
    }  # fmt: skip


def _begun_before(known, number):
    """Of units that never reported, the test itself will be the first figure: a fault may have begun since the unit was
    last tested as sound, or since it hangs there, as the nights take it (cohort.know_first)."""
    known.know_first(range(len(known)))
    silent = np.flatnonzero(known.first < 0)
    if silent.size:
        known.first[silent] = np.maximum(cohort.sound_or_hung(known.ids[silent], number), number - cohort.AGES[-1])


def _packed(known, unit, ask, day):
    built = known.built[unit]
    usual, drawn = onsite.usual_and_drawn_l(known, unit, as_number(day))
    due = _due(built, day)
    gain = float(due.pop("gain"))
    kind = judge.kind_of(known.daily[unit], known.sites.has_cell[unit])
    got = ahead(ask, usual, drawn, gain, lambda rows: cases.noon_due(built, rows), kind)
    if got is None:
        return None
    sig = got.signatures
    return {
        "level": round(float(built.level + told.carried_mean(built.level)), 4),  # of a test
        "due": due, "rates": _whole(1e8 * ask.rates),
        "flow": [_list(got.flow_mean, 4), _list(got.flow_var, 6)], "stands": round(got.stands, 4),
        "sides": {
            name: [round(side.mean, 4), round(side.var, 6), side.own, side.loose, side.trust,
                   *(() if side.before is None else _columns(name, side.before))]
            for name, side in got.sides.items()
        },
        **({} if got.less is None else {"less": [_list(row, 1) for row in got.less]}),
        "sound": round(got.sound, 3), "doubt": list(got.doubt), "tracking": bool(sig.tracking),
        "parts": {
            "of": _bytes(got.of), "grown": _bytes(100 * got.grown), "weight": _pairs(got.weight, 100),
            "factor": _pairs(got.factor, 1000), "doubt": _pairs(got.doubt_left, 30000),
            "carried": _pairs(got.carried, 5000), "kept": _pairs(got.kept, 1000),
        },
        "signs": _signs(sig, got.stands),
    }  # fmt: skip


def _due(built, day):
    """What is due of the sound unit at SUNS, at the month's level on record: as tests are read at night."""
    one, suns = built.fleet.take([built.row]), np.array(SUNS)
    count = len(suns)
    blank = np.full(count, np.nan)
    level = one.static_level_m[0, day.month - 1]
    flow = tests.due(one, tests.Tests(
        row=np.zeros(count, int), day=np.zeros(count, int), sun_w_m2=suns, sun_sd=np.full(count, 0.05),
        air_c=np.full(count, cohort.USUAL_AIR_C), static_level_m=np.full(count, level), level_sd_m=np.full(count, 0.05),
        dipped=np.ones(count, bool), flow_l_min=blank, flow_sd=np.full(count, 0.03), bucket=np.ones(count, bool),
        beside_l_min=blank, volts=blank, amps=blank, pumping_level_m=blank, rest_m=blank,
    ))  # fmt: skip
    rows = record.blank(count)
    rows["day"], rows["noon_w_m2"] = as_number(day), suns
    volts, amps, pumping, rest = cases.noon_due(built, rows)
    return {
        "sun": _list(suns, 0), "flow": _list(flow.flow_l_min, 2), "volts": _list(volts, 1), "amps": _list(amps, 2),
        "level": _list(pumping, 2), "rest": round(float(rest[0]), 2),
        "gain": flow.light_gain[SUNS.index(USUAL_SUN)],
    }  # fmt: skip


def _signs(sig, stands):
    """Hypotheses in columns, and what each does to the readings at SUNS where it does anything."""
    at = np.array(SUNS)
    flow = channels.read_curves(sig.flow, table.SUNS, at)
    curves = {
        "current": 200 * channels.read_curves(np.log(np.maximum(sig.current, 0.05)), table.SUNS, at),
        "voltage": 200 * channels.read_curves(np.log(np.maximum(sig.voltage, 0.2)), table.SUNS, at),
        "level": 5 * channels.read_curves(sig.level, table.SUNS, at),
    }
    usual = np.full(at.size, stands)
    chance = odds.chance_to_stand(sig, channels.Idle(at, at, np.zeros(at.size), usual, usual))
    return {
        "sun": _list(at, 0), "cause": _bytes(sig.cause), "size": _list(sig.size, 2), "smaller": _bytes(sig.smaller + 1),
        "form": _bytes(sig.form), "flow": _bytes(200 * flow),
        "stands": {
            str(n): _list(row[:1] if (row == row[0]).all() else row, 3)
            for n, row in enumerate(chance) if (np.abs(row - stands) > 1e-3).any()
        },
        **{name: _where(rows) for name, rows in curves.items()},
    }  # fmt: skip


def _where(rows):
    """[places of the rows that are not nought, these rows, 128 being nought]."""
    some = np.flatnonzero((np.abs(rows) > 0.5).any(axis=1))
    return [_bytes(some), _bytes(128 + rows[some])]


def _bytes(values):
    """Whole numbers from 0 to 255, in base 64."""
    return b64encode(np.clip(np.rint(values), 0, 255).astype(np.uint8).tobytes()).decode()


def _pairs(values, scale):
    """Numbers times a scale as whole ones of two bytes, low first, in base 64; a plain number where all are alike."""
    whole = np.clip(np.rint(scale * np.asarray(values, float)), -32768, 32767).astype("<i2")
    if whole.size and (whole == whole[0]).all():
        return int(whole[0])
    return b64encode(whole.tobytes()).decode()


def _whole(values):
    """Whole numbers, a byte or three each."""
    return np.rint(np.asarray(values, float)).astype(int).tolist()


def _columns(name, before):
    """What earlier readings say in a channel beside the flow, by parts (Side.before), a byte each, 128 being nought."""
    factor, doubt, carried = before
    return [_bytes(128 + 50 * factor), _bytes(255 * doubt), _bytes(128 + (10 if name in METRES else 200) * carried)]


def _list(values, digits):
    """Plain numbers; None where nothing is known. Whole numbers lose their point."""
    found = [None if not np.isfinite(v) else round(float(v), digits) for v in values]
    return [int(v) if v is not None and v == int(v) else v for v in found]
