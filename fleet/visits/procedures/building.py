"""Words to write a procedure with. They give plain dictionaries, which is how a procedure is kept."""


def step(code, title, text, *, captures=(), rules=(), cautions=(), needed=True):
    """One screen of a visit. A step that is not `needed` may be left without a reason."""
    return {
        "code": code,
        "title": title,
        "text": text,
        "cautions": list(cautions),
        "captures": list(captures),
        "rules": list(rules),
        "needed": needed,
    }


def _capture(code, kind, label, required, **more):
    return {"code": code, "kind": kind, "label": label, "required": required, **more}


def number(code, label, unit, low, high, *, repeats=1, required=True, hint=""):
    """A figure with its unit. `repeats` above 1 asks for several; "strings" asks for one a string."""
    return _capture(code, "number", label, required, unit=unit, low=low, high=high, repeats=repeats, hint=hint)


def buckets(code, label, *, repeats=3, required=True):
    """Fills of a bucket: litres and seconds each, with the stopwatch of the page."""
    return _capture(code, "buckets", label, required, repeats=repeats, unit="L/min")


def yes_no(code, label, *, required=True):
    return _capture(code, "yes_no", label, required)


def choice(code, label, options, *, required=True):
    return _capture(code, "choice", label, required, options=[{"code": c, "label": t} for c, t in options])


def photo(code, label, *, least=1, required=True):
    return _capture(code, "photo", label, required, least=least)


def note(code, label, *, required=False):
    return _capture(code, "note", label, required)


def serial(code, label, of, *, repeats=1, required=True):
    """A serial number, scanned or typed. `of`: pump, module, controller, meter."""
    return _capture(code, "serial", label, required, of=of, repeats=repeats)


def clock(code, label, *, required=True):
    return _capture(code, "clock", label, required)


def mark(code, label, *, required=True):
    """A person's mark, drawn with the finger."""
    return _capture(code, "mark", label, required)


def spot(code, label, test_kind, *, required=True):
    """A spot test: sun, volts, amps, bucket flow and level within the same two minutes; answered at once."""
    return _capture(code, "spot", label, required, test_kind=test_kind, repeats=3)


def is_yes(of, otherwise, *, stop=False):
    return {"kind": "yes", "of": of, "otherwise": otherwise, "stop": stop}


def is_no(of, otherwise, *, stop=False):
    return {"kind": "no", "of": of, "otherwise": otherwise, "stop": stop}


def one_of(of, values, otherwise, *, stop=False):
    return {"kind": "one_of", "of": of, "values": list(values), "otherwise": otherwise, "stop": stop}


def between(of, low, high, otherwise, *, stop=False):
    """Every figure of the capture lies between; either end may be None."""
    return {"kind": "between", "of": of, "low": low, "high": high, "otherwise": otherwise, "stop": stop}


def alike(of, within, otherwise, *, stop=False):
    """All repeats lie within this share of their mean."""
    return {"kind": "alike", "of": of, "within": within, "otherwise": otherwise, "stop": stop}


def near(of, to, within, otherwise, *, stop=False):
    """The mean of one capture lies within this share of another's."""
    return {"kind": "near", "of": of, "to": to, "within": within, "otherwise": otherwise, "stop": stop}


def rising(of, otherwise, *, stop=False):
    """The captures grow in this order."""
    return {"kind": "rising", "of": list(of), "otherwise": otherwise, "stop": stop}


def not_below_known(of, known, otherwise):
    """The figure is not below what is known of this installation (for example the last meter figure)."""
    return {"kind": "not_below_known", "of": of, "known": known, "otherwise": otherwise, "stop": False}


def near_known(of, known, within, otherwise):
    """The figure lies within this share of what is known of this installation."""
    return {"kind": "near_known", "of": of, "known": known, "within": within, "otherwise": otherwise, "stop": False}


def as_expected(of, otherwise):
    """The spot test's answer is "as expected" or "above"; "cannot tell" leaves the step open, not failed."""
    return {"kind": "as_expected", "of": of, "otherwise": otherwise, "stop": False}
