"""Whether a procedure can be used: every fault of its steps in a sentence, whatever stands there.

An administrator may write a procedure as data; what is let in here is read later on pages, telephones and paper, with
no second look.
"""

from django.utils.translation import gettext

from fleet.visits.procedures.cautions import CAUTIONS

MOST_REPEATS = 50


def _words(value):
    return isinstance(value, str) and bool(value.strip()) and "\0" not in value


def _text(value):
    return isinstance(value, str) and "\0" not in value


def _number(value):
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e12


def _limit(value):
    return value is None or _number(value)


def _share(value):
    return _number(value) and 0 <= value <= 1


def _flag(value):
    return isinstance(value, bool)


def _count(value):
    return isinstance(value, int) and not isinstance(value, bool) and 1 <= value <= MOST_REPEATS


def _times(value):
    return value in ("strings", "modules") or _count(value)


def _codes(value):
    return isinstance(value, list) and bool(value) and all(_words(one) for one in value)


def _options(value):
    return isinstance(value, list) and bool(value) and all(
        isinstance(one, dict) and _words(one.get("code")) and _words(one.get("label")) for one in value
    )


# What may stand in a capture and in a rule, and how it must look; for each kind, what must be there.
OF_CAPTURE = {
    "label": _words, "unit": _text, "hint": _text, "low": _number, "high": _number, "required": _flag,
    "options": _options, "repeats": _times, "least": _count, "of": _text, "test_kind": _text,
}  # fmt: skip
CAPTURES = {
    "number": (), "buckets": (), "yes_no": (), "choice": ("options",), "photo": (), "note": (), "serial": (),
    "clock": (), "mark": (), "spot": (),
}  # fmt: skip
OF_RULE = {
    "otherwise": _words, "stop": _flag, "low": _limit, "high": _limit, "within": _share, "values": _codes, "to": _words,
    "known": _words,
}  # fmt: skip
RULES = {
    "yes": (), "no": (), "one_of": ("values",), "between": ("low", "high"), "alike": ("within",),
    "near": ("to", "within"), "rising": (), "not_below_known": ("known",), "near_known": ("known", "within"),
    "as_expected": (),
}  # fmt: skip


def faults_of(steps):
    """Sentences that say what is wrong with a procedure's steps; empty when it can be used."""
    if not isinstance(steps, list) or not steps:
        return [gettext("A procedure needs at least one step.")]
    faults, seen = [], set()
    for place, step in enumerate(steps, 1):
        faults += [_at(place, sentence) for sentence in _of_step(step, seen)]
    return faults


def _at(place, sentence):
    return gettext("Step %(place)d: %(fault)s") % {"place": place, "fault": sentence}


def _of_step(step, seen):
    if not isinstance(step, dict) or not _words(step.get("code")) or not _words(step.get("title")):
        yield gettext("give it a code and a title.")
        return
    if step["code"] in seen:
        yield gettext("the code “%(code)s” is used twice.") % {"code": step["code"]}
    seen.add(step["code"])
    if not _text(step.get("text", "")) or not _flag(step.get("needed", True)):
        yield gettext("its text is words, and “needed” is true or false.")
    lists = {name: step.get(name, []) for name in ("cautions", "captures", "rules")}
    if not all(isinstance(found, list) for found in lists.values()):
        yield gettext("cautions, captures and rules are lists.")
        return
    for caution in lists["cautions"]:
        if not isinstance(caution, str) or caution not in CAUTIONS:
            yield gettext("“%(mark)s” is no known caution. Known: %(known)s.") % {
                "mark": caution, "known": ", ".join(CAUTIONS)}  # fmt: skip
    captures = {}
    for capture in lists["captures"]:
        yield from _of_capture(capture, captures)
    for rule in lists["rules"]:
        yield from _of_rule(rule, captures)


def _of_capture(capture, captures):
    kind = capture.get("kind") if isinstance(capture, dict) else None
    if not isinstance(kind, str) or kind not in CAPTURES or not _words(capture.get("code")):
        yield gettext("a capture needs a code and a kind out of %(known)s.") % {"known": ", ".join(sorted(CAPTURES))}
        return
    code = capture["code"]
    if code in captures:
        yield gettext("the capture “%(code)s” stands there twice.") % {"code": code}
    captures[code] = capture
    needed = ("label", *CAPTURES[kind])
    if ("low" in capture) != ("high" in capture):
        needed += ("low", "high")
    yield from _of_parts(code, capture, OF_CAPTURE, needed)
    if kind in {"buckets", "spot"} and not _count(capture.get("repeats", 3)):
        yield gettext("“%(part)s” of “%(code)s” is missing or cannot be read.") % {"part": "repeats", "code": code}


def _of_rule(rule, captures):
    kind = rule.get("kind") if isinstance(rule, dict) else None
    if not isinstance(kind, str) or kind not in RULES:
        yield gettext("unknown rule “%(rule)s”.") % {"rule": kind}
        return
    of = rule.get("of")
    named = of if kind == "rising" and isinstance(of, list) else [of]
    if kind == "near":
        named = [*named, rule.get("to")]
    if not named or not all(isinstance(name, str) and name in captures for name in named):
        yield gettext("a rule names a capture that the step has not.")
        return
    yield from _of_parts(kind, rule, OF_RULE, ("otherwise", *RULES[kind]))


def _of_parts(code, found, known, needed):
    """What is missing, and what does not look as it must."""
    for part, looks_right in known.items():
        if (part in found or part in needed) and not (part in found and looks_right(found[part])):
            yield gettext("“%(part)s” of “%(code)s” is missing or cannot be read.") % {"part": part, "code": code}
