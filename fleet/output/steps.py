"""The steps of the calculation in the reader's language: the engineering speaks English, its words stand here again.

Signs, figures and names of publications stay as they are.
"""

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from sizing import chain

STAGES = {  # the heading over the steps of each of `chain.STAGES`
    "day": _("Of the day"),
    "array": _("Of the array"),
    "feed": _("Cable and controller"),
    "head": _("Of the head"),
    "water": _("Of the water"),
    "range": _("The range, and what it is made of"),
}
WORDS = {  # names of steps, sources, origins, states
    _("declination of the sun"),
    _("daylight"),
    _("irradiation above the air"),
    _("irradiation on level ground"),
    _("clearness"),
    _("diffuse share"),
    _("sunshine share"),
    _("irradiation in the array's plane"),
    _("of that left by skyline and windows of shade"),
    _("irradiance in the plane at noon, sun out"),
    _("air"),
    _("cell temperature"),
    _("light that arrives"),
    _("array voltage"),
    _("array current"),
    _("array power"),
    _("resistance of the cable, out and back"),
    _("resistance with the fault"),
    _("efficiency of the controller"),
    _("power at the pump's leads"),
    _("static level"),
    _("drawdown"),
    _("rise to the tank"),
    _("friction"),
    _("total head"),
    _("least power that lifts so high"),
    _("flow at noon"),
    _("state"),
    _("hydraulic power"),
    _("wire to water"),
    _("water of the day"),
    _("how the light comes through the day"),
    _("unit, array and well against their records"),
    _("instruments: irradiance and meter"),
    _("80 % of such days: at least"),
    _("80 % of such days: at most"),
    _("definition"),
    _("as above"),
    _("sun's paths over the surveyed skyline; light lost as written down"),
    _("NOCT heat balance, Duffie & Beckman sec. 23.3; Faiman 2008"),
    _("PVWatts 5 defaults; Jordan et al. 2022"),
    _("single-diode curve; De Soto et al. 2006"),
    _("IEC 60228, tables 2 and 3; IEC 60028"),
    _("weighted against best efficiency (from memory)"),
    _("own fit to the test sheet"),
    _("pump's test points; unit's own test"),
    _("even against broken light; judged"),
    _("tolerances of acceptance: ISO 9906, API 676, IEC 60034-1 (from memory), each through the chain's own slope"),
    _("class 2 meter; pyranometer and tilt"),
    _("given"),
    _("recorded"),
    _("default"),
    _("none recorded"),
    _("latitude"),
    _("day"),
    _("tilt and azimuth"),
    _("skyline and windows"),
    _("NOCT"),
    _("dirt"),
    _("age"),
    _("data sheet"),
    _("length"),
    _("section"),
    _("fault"),
    _("best efficiency"),
    _("bore"),
    _("fittings"),
    _("test points"),
    _("all above"),
    _("runs"),
    _("too little power to lift"),
    _("at its limit of power or voltage"),
    _("at what the well gives"),
    _("beyond the largest flow tested"),
    _("cut out"),
    _("no sun"),
    _("stopped"),
}


def in_words(text):
    """A text of a step in the reader's language; 'what: how' and lists of such, each part by itself."""
    if not isinstance(text, str) or not text:
        return text
    if text in WORDS:
        return gettext(text)
    return ", ".join(": ".join(_part(word) for word in clause.split(": ")) for clause in text.split(", "))


def _part(word):
    return gettext(word) if word in WORDS else word


def translated(step):
    """The same step in the reader's language."""
    return step._replace(
        name=in_words(step.name), value=in_words(step.value), source=in_words(step.source), origin=in_words(step.origin)
    )


def by_stage(steps):
    """[(stage, heading, its steps)] in order; stages without steps left out."""
    found = [(stage, gettext(STAGES[stage]), [s for s in steps if s.stage == stage]) for stage in chain.STAGES]
    return [row for row in found if row[2]]
