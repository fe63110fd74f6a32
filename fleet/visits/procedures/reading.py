"""How a procedure's texts are translated, and how a step's values are judged.

A step's values are a dictionary keyed by capture: a number or a list of numbers, a list of {litres, seconds}, true or
false, a code, a text, a list of serials, a mark as points, a spot test's readings. The phone judges by the same
rules; `tests/visits/data/rule_cases.json` holds both to the same answers.
"""

import copy
import math

from django.utils.translation import gettext, ngettext

from fleet.visits.procedures.cautions import CAUTIONS


def in_words(steps):
    """The steps with every text in the language of the moment."""
    shown = copy.deepcopy(steps)
    for step in shown:
        for field in ("title", "text"):
            step[field] = gettext(step[field]) if step.get(field) else ""
        for capture in step.get("captures", []):
            for field in ("label", "unit", "hint"):
                if capture.get(field):
                    capture[field] = gettext(capture[field])
            for option in capture.get("options", []):
                option["label"] = gettext(option["label"])
        for rule in step.get("rules", []):
            rule["otherwise"] = gettext(rule["otherwise"]) if rule.get("otherwise") else ""
    return shown


def cautions_in_words():
    from fleet.visits.procedures.cautions import CODES_FIRST

    ending = gettext(CODES_FIRST)
    return {
        code: {"title": gettext(c["title"]), "full": f"{gettext(c['full'])} {ending}", "short": gettext(c["short"])}
        for code, c in CAUTIONS.items()
    }


def how_many(capture, installation):
    """How many figures a capture asks for, where that depends on the array."""
    repeats = capture.get("repeats", 1)
    if repeats == "strings":
        return installation.strings if installation else 1
    if repeats == "modules":
        return installation.strings * installation.modules_in_series if installation else 1
    return repeats


def figures(value):
    """The numbers in a value; buckets give litres a minute each."""
    values = value if isinstance(value, list) else [value]
    found = []
    for one in values:
        if isinstance(one, dict):
            if one.get("litres") is not None and one.get("seconds"):
                found.append(60 * one["litres"] / one["seconds"])
        elif isinstance(one, int | float) and not isinstance(one, bool) and math.isfinite(one):
            found.append(float(one))
    return found


def _mean(numbers):
    return sum(numbers) / len(numbers)


def _broken(rule, values, known):
    """True if the rule is broken, False if kept, None if there is nothing to judge by."""
    kind, of = rule["kind"], rule["of"]
    if kind == "rising":
        rows = [figures(values.get(code)) for code in of]
        return None if not all(rows) else any(b[0] <= a[0] for a, b in zip(rows, rows[1:], strict=False))
    value = values.get(of)
    if value is None or value == "" or value == []:
        return None
    if kind == "yes":
        return value is not True
    if kind == "no":
        return value is not False
    if kind == "one_of":
        return value not in rule["values"]
    if kind == "as_expected":
        verdict = value.get("answer", {}).get("verdict") if isinstance(value, dict) else None
        return None if verdict in {None, "cannot_tell"} else verdict == "below"
    numbers = figures(value)
    if not numbers:
        return None
    if kind == "between":
        low, high = rule.get("low"), rule.get("high")
        return any((low is not None and n < low) or (high is not None and n > high) for n in numbers)
    if kind == "alike":
        middle = _mean(numbers)
        return any(abs(n - middle) > rule["within"] * abs(middle) for n in numbers)
    if kind == "near":
        other = figures(values.get(rule["to"]))
        return None if not other or not _mean(other) else abs(_mean(numbers) / _mean(other) - 1) > rule["within"]
    last = known.get(rule["known"])
    if last is None:
        return None
    if kind == "not_below_known":
        return min(numbers) < last
    return abs(_mean(numbers) - last) > rule["within"] * abs(last)  # near_known


def judge_step(step, values, known=None):
    """(passed, sentences, must_stop). `passed` is None when no rule could be judged."""
    sentences, judged, stop = [], False, False
    for rule in step.get("rules", []):
        broken = _broken(rule, values, known or {})
        if broken is None:
            continue
        judged = True
        if broken:
            sentences.append(rule["otherwise"])
            stop = stop or bool(rule.get("stop"))
    return (not sentences if judged else None), sentences, stop


def missing(step, values, installation=None):
    """Sentences for captures that are required and not there."""
    gaps = []
    for capture in step.get("captures", []):
        if not capture.get("required", True) or capture["kind"] in {"photo", "mark"}:
            continue  # photos and marks follow last and may still be on the phone
        value = values.get(capture["code"])
        label = gettext(capture["label"])
        if value is None or value == "" or value == [] or value == {}:
            gaps.append((capture["code"], gettext("%(what)s: still missing.") % {"what": label}))
        elif capture["kind"] == "buckets" or (capture["kind"] == "number" and how_many(capture, installation) > 1):
            wanted = how_many(capture, installation)
            lacking = wanted - len(figures(value))
            if lacking > 0:
                gaps.append(
                    (
                        capture["code"],
                        ngettext("%(what)s: one figure is missing.", "%(what)s: %(n)d figures are missing.", lacking)
                        % {"what": label, "n": lacking},
                    )
                )
    return gaps


def out_of_range(step, values):
    """Figures that cannot be: (capture, sentence)."""
    found = []
    for capture in step.get("captures", []):
        if capture["kind"] != "number":
            continue
        for number in figures(values.get(capture["code"])):
            if (capture.get("low") is not None and number < capture["low"]) or (
                capture.get("high") is not None and number > capture["high"]
            ):
                found.append(
                    (
                        capture["code"],
                        gettext("%(what)s: %(number)g %(unit)s cannot be; it lies between %(low)g and %(high)g.")
                        % {
                            "what": gettext(capture["label"]),
                            "number": number,
                            "unit": capture.get("unit", ""),
                            "low": capture["low"],
                            "high": capture["high"],
                        },
                    )
                )
    return found
