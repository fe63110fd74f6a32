"""The page on which a whole paper sheet is typed in: the steps' own forms, one below the other.

A capture's name may come in two steps, so that here each carries its step's code before it.
"""

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.utils.translation import gettext as _

from fleet.visits.forms import step as step_form
from fleet.web.refusals import Refused

NOT_ON_PAPER = {"photo", "mark"}
BETWEEN = "--"


@dataclass
class Typed:
    """What was typed of one step."""

    code: str
    values: dict
    skipped_why: str = ""
    clock: str = ""

    @property
    def anything(self):
        return bool(self.skipped_why) or any(value not in (None, "", [], {}) for value in self.values.values())


@dataclass
class Section:
    """One step as the page draws it."""

    step: dict
    captures: list
    clock: str = ""
    skipped_why: str = ""
    general: str = ""
    marks: list = field(default_factory=list)


def _named(step):
    captures = [
        capture | {"code": f"{step['code']}{BETWEEN}{capture['code']}"}
        for capture in step.get("captures", []) if capture["kind"] not in NOT_ON_PAPER
    ]  # fmt: skip
    return step | {"captures": captures}


def read(steps, post, installation, person):
    """[Typed] of every step, as it stands on the page."""
    found = []
    for step in steps:
        values = step_form.read(_named(step), post, installation, person)
        found.append(Typed(
            step["code"], {name.partition(BETWEEN)[2]: value for name, value in values.items()},
            post.get(f"why-{step['code']}", "").strip(), post.get(f"at-{step['code']}", "").strip(),
        ))  # fmt: skip
    return found


def show(steps, typed, faults, installation, person):
    """[Section] of steps in the reader's language, filled in, each fault at its place."""
    by_code = {one.code: one for one in typed}
    found = []
    for step in steps:
        code, one, fault = step["code"], by_code.get(step["code"], Typed(step["code"], {})), faults.get(step["code"])
        named, errors, general = _named(step), {}, ""
        if fault is not None:
            at = f"{code}{BETWEEN}{fault.field}"
            if fault.field in step_form.SPOT_NAMES:
                at = next((c["code"] for c in named["captures"] if c["kind"] == "spot"), at)
            if any(c["code"] == at for c in named["captures"]):
                errors[at] = str(fault)
            else:
                general = str(fault)
        values = {f"{code}{BETWEEN}{name}": value for name, value in one.values.items()}
        captures = step_form.show(named, values, installation, errors, person)
        found.append(Section(step, captures, one.clock, one.skipped_why, general, step["cautions"]))
    return found


def moment(text, zone, field):
    """A day and hour of the site's clock; None for nothing."""
    if not text.strip():
        return None
    try:
        return datetime.fromisoformat(text.strip()).replace(tzinfo=zone)
    except ValueError:
        sentence = _("The time on the paper cannot be read. Write it like 2026-03-14 10:30.")
        raise Refused("not_a_time", sentence, field=field) from None


def clock(text, after, zone, field):
    """An hour of the day of the visit, or of the day after where the visit went past midnight; None for nothing."""
    if not text:
        return None
    try:
        hour = datetime.strptime(text, "%H:%M").time()
    except ValueError:
        raise Refused("not_a_time", _("The time cannot be read. Write it like 10:30."), field=field) from None
    local = after.astimezone(zone)
    at = datetime.combine(local.date(), hour, tzinfo=zone)
    return at if at >= local.replace(second=0, microsecond=0) else at + timedelta(days=1)
