"""A SenML pack read and resolved: base values applied, times made absolute, records in order of time.

Source: RFC 8428 (Sensor Measurement Lists), sections 4 and 5; JSON form only. No product's code was followed.
"""

import json
import math
import re
from dataclasses import dataclass

from django.utils.translation import gettext as _

VERSION = 10  # of the format that RFC 8428 defines, and the default where a pack names none (section 4.4)
RELATIVE_BELOW_S = 2.0**28  # times below are counted from now (section 4.5.3)
LATEST_S = 253402300799.0  # the end of the year 9999: later moments have no date
NUMBERS = ("bt", "bv", "bs", "bver", "v", "s", "t", "ut")
TEXTS = ("bn", "bu", "n", "u", "vs", "vd")
BASES = ("bn", "bt", "bu", "bv", "bs", "bver")
VALUES = ("v", "vs", "vb", "vd")
KNOWN = {*NUMBERS, *TEXTS, "vb"}
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*\Z")
LONGEST_NAME = 300


@dataclass(frozen=True)
class Fault:
    """One thing wrong: with a record (counted from 1), or with the whole pack (record None)."""

    code: str
    sentence: str
    record: int | None = None
    field: str = ""
    found: str = ""
    whole: bool = False  # the pack cannot be used at all

    @property
    def path(self):
        """Where it stands in the body, as a JSON Pointer (RFC 6901)."""
        if self.record is None:
            return ""
        escaped = self.field.replace("~", "~0").replace("/", "~1")
        return f"/{self.record - 1}/{escaped}" if self.field else f"/{self.record - 1}"


@dataclass(frozen=True)
class Record:
    """A resolved record. `at_s`: seconds since 1970 UTC. `number`: its place in the pack, from 1."""

    number: int
    name: str
    at_s: float
    unit: str = ""
    value: float | None = None
    text: str | None = None
    flag: bool | None = None
    data: str | None = None
    sum: float | None = None
    version: int = VERSION
    relative: bool = False


class _Twice(dict):
    """An object that named a field twice, remembering which."""

    twice = ""


def _object(pairs):
    made = _Twice(pairs)
    if len(made) < len(pairs):
        names = [name for name, _value in pairs]
        made.twice = next(name for name in names if names.count(name) > 1)
    return made


def read_pack(body):
    """The JSON of a pack: (list of records as sent, faults)."""
    try:
        # NaN and Infinity are no JSON; they are let through here so that the fault can say in which record they stand.
        found = json.loads(body.decode("utf-8-sig"), object_pairs_hook=_object)
    except UnicodeDecodeError:
        return [], [Fault("not_utf8", _("Send the pack as UTF-8."), whole=True)]
    except RecursionError:
        return [], [Fault("not_json", _("This is nested too deeply for a pack."), whole=True)]
    except ValueError as error:
        sentence = _("This is not JSON: %(why)s.") % {"why": str(error)[:120]}
        return [], [Fault("not_json", sentence, whole=True)]
    if not isinstance(found, list):
        return [], [Fault("not_a_pack", _("A SenML pack is a list of records: begin it with [."), whole=True)]
    if not found:
        return [], [Fault("empty", _("There is no record in this pack."), whole=True)]
    return found, []


def looks_like_pack(rows):
    """Whether a JSON list sent without a type is a pack rather than rows of a table: it uses labels of SenML only."""
    if not isinstance(rows, list) or not rows or not isinstance(rows[0], dict):
        return False
    labels = set(rows[0])
    return bool(labels & {"bn", "n"}) and bool(labels & {"bn", "bt", "bv", "bs", "v", "vs", "vb", "s"})


def _shown(value):
    try:
        return json.dumps(value, ensure_ascii=True)[:80]
    except (TypeError, ValueError, RecursionError):
        return ""


def _number(value):
    """A finite number, or None for what is none."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        value = float(value)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None


def _wrong_number(number, label, value):
    if isinstance(value, str):
        sentence = _("“%(label)s” is a number: send it without quotation marks.") % {"label": label}
    else:
        sentence = _("“%(label)s” is a number, like 12.5; NaN and infinity are none.") % {"label": label}
    return Fault("not_a_number", sentence, number, label, _shown(value), whole=label in BASES)


def _checked(number, sent):
    """The faults of one record as it was sent."""
    if not isinstance(sent, dict):
        sentence = _("A record is an object, like {\"n\": \"RM00012/flow\", \"u\": \"l/min\", \"v\": 14.2}.")
        return [Fault("not_a_record", sentence, number, "", _shown(sent), whole=True)]
    faults = []
    if getattr(sent, "twice", ""):
        sentence = _("“%(label)s” stands in this record twice.") % {"label": sent.twice[:40]}
        faults.append(Fault("field_twice", sentence, number, sent.twice, whole=sent.twice in BASES))
    for label, value in sent.items():
        if label in NUMBERS:
            if _number(value) is None:
                faults.append(_wrong_number(number, label, value))
        elif label in TEXTS:
            if not isinstance(value, str):
                sentence = _("“%(label)s” is a text: send it in quotation marks.") % {"label": label}
                faults.append(Fault("not_a_text", sentence, number, label, _shown(value), whole=label in BASES))
        elif label == "vb":
            if not isinstance(value, bool):
                sentence = _("“vb” is true or false, without quotation marks.")
                faults.append(Fault("not_a_flag", sentence, number, label, _shown(value)))
        elif label.endswith("_"):  # section 4.4: what ends so must be understood or refused
            sentence = _("“%(label)s” must be understood to read this pack, and it is not known here. Leave it out.")
            faults.append(Fault("must_understand", sentence % {"label": label[:40]}, number, label, whole=True))
    return faults


def resolve(records, now_s):
    """Records as sent made whole: (resolved records in order of time, faults).

    `now_s`: seconds since 1970 UTC, from which relative times are counted. A record with a fault is left out; a fault
    that is `whole` leaves none.
    """
    base, faults, found, version = {}, [], [], None
    for number, sent in enumerate(records, 1):
        wrong = _checked(number, sent)
        faults += wrong
        if any(fault.whole for fault in wrong):
            return [], faults
        base |= {label: sent[label] for label in BASES if label in sent}
        fault, version = _version(number, sent, base, version)
        if fault:
            return [], [*faults, fault]
        if not wrong:
            record, fault = _whole(number, sent, base, version, now_s)
            faults += [fault] if fault else []
            found += [record] if record else []
    found.sort(key=lambda record: record.at_s)  # stable: records of one moment stay as they were sent
    return found, faults


def _version(number, sent, base, known):
    """(fault or None, the pack's version): one for all records, and none that is not understood (section 4.4)."""
    version = base.get("bver", VERSION)
    if version != int(version) or version < 1:
        sentence = _("“bver” is a whole number above zero.")
        return Fault("version", sentence, number, "bver", _shown(version), whole=True), known
    version = int(version)
    if version > VERSION:
        sentence = _("This pack is of version %(found)d; up to %(known)d is understood here.")
        words = sentence % {"found": version, "known": VERSION}
        return Fault("version", words, number, "bver", str(version), whole=True), known
    if known not in (None, version):
        sentence = _("All records of a pack are of one version: name it in the first one only.")
        return Fault("version", sentence, number, "bver", str(version), whole=True), known
    return None, version


def _whole(number, sent, base, version, now_s):
    """(record or None, fault or None) with the base values of this moment applied (section 4.6)."""
    name = base.get("bn", "") + sent.get("n", "")
    if not NAME.match(name) or len(name) > LONGEST_NAME:
        sentence = _("“bn” and “n” together name what is measured: letters, digits and - : . / _, the first a letter "
                     "or digit.")  # fmt: skip
        return None, Fault("name", sentence, number, "n", name[:80])
    values = [label for label in VALUES if label in sent]
    if len(values) > 1:
        sentence = _("One value a record: %(labels)s stand here together.") % {"labels": ", ".join(values)}
        return None, Fault("two_values", sentence, number, values[1])
    has_sum = "s" in sent or "bs" in base
    if not values and not has_sum and "bv" not in base:
        sentence = _("There is no value in this record: send “v”, or “vs” or “vb”.")
        return None, Fault("no_value", sentence, number)
    numeric = "v" in sent or (not values and "bv" in base)
    value = float(sent.get("v", 0)) + float(base.get("bv", 0)) if numeric else None
    total = float(sent.get("s", 0)) + float(base.get("bs", 0)) if has_sum else None
    at_s = float(base.get("bt", 0)) + float(sent.get("t", 0))
    relative = at_s < RELATIVE_BELOW_S
    at_s = now_s + at_s if relative else at_s
    for label, figure in (("v", value), ("s", total), ("t", at_s)):
        if figure is not None and not math.isfinite(figure):
            return None, _wrong_number(number, label, figure)
    if not 0 <= at_s <= LATEST_S:
        sentence = _("“bt” and “t” together are no time: seconds since 1970, or up to 2^28 from now.")
        return None, Fault("time", sentence, number, "t", _shown(sent.get("t", base.get("bt"))))
    return Record(
        number, name, at_s, sent.get("u", base.get("bu", "")), value, sent.get("vs"), sent.get("vb"), sent.get("vd"),
        total, version, relative,
    ), None  # fmt: skip
