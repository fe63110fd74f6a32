"""A day and a visit on paper: job sheet, test sheet, expected card. Drawn by Typst from plain data."""

import json
from pathlib import Path

import typst
from django.conf import settings
from django.utils import timezone, translation
from django.utils.text import capfirst
from django.utils.translation import gettext as _

from fleet.visits import codes
from fleet.visits.forms.step import SUN_CHOICES
from fleet.visits.procedures.cautions import CAUTIONS
from fleet.visits.procedures.reading import how_many, in_words
from fleet.visits.services.card import paper_cards
from fleet.web.typed_units import liked

TEMPLATE = Path(settings.BASE_DIR) / "templates" / "visits" / "sheet.typ"


def _pdf(data):
    return typst.compile(str(TEMPLATE), sys_inputs={"data": json.dumps(data, default=str)})


def _field(capture, installation, person):
    n = capture.get("repeats", 1)
    if not isinstance(n, int):
        n = how_many(capture, installation)
    options = [str(o["label"]) for o in capture.get("options", [])]
    if capture["kind"] == "yes_no":
        options = [_("yes"), _("no")]
    return {
        "label": capture["label"], "unit": liked(capture.get("unit", ""), person)[0], "kind": capture["kind"],
        "n": min(n, 12),
        "options": options,
    }  # fmt: skip


def _cautions(steps):
    """For each step its cautions, as on the telephone: in full where one comes for the first time, then in short."""
    told, found = set(), []
    for step in steps:
        marks = step.get("cautions", [])
        found.append([
            {"mark": c, "title": _(CAUTIONS[c]["title"]), "words": _(CAUTIONS[c]["short" if c in told else "full"])}
            for c in marks
        ])  # fmt: skip
        told |= set(marks)
    return found


def _card(card, person):
    """The expected card in the units of who takes the sheet along."""
    if card is None:
        return None
    (flow, much), (length, long) = liked("L/min", person), liked("m", person)
    digits = 1 if much == 1 else 2

    def turned(value, size, decimals):
        return None if value is None else f"{value / size:.{decimals}f}"

    most = max([1e-9, *(q for row in card["flow"] for q in row if q is not None)])
    return {
        "suns": card["suns"], "levels": [turned(level, long, 0 if long != 1 else 1) for level in card["levels"]],
        "flow": [[turned(q, much, digits) for q in row] for row in card["flow"]],
        # For the drawing: shares of the highest flow, and the marks beside it.
        "shares": [[None if q is None else q / most for q in row] for row in card["flow"]],
        "marks": [[share, turned(share * most, much, digits)] for share in (0, 0.25, 0.5, 0.75, 1)],
        "title": _("Expected flow, %(flow)s, by irradiance and static level, %(length)s")
        % {"flow": flow, "length": length},
        "flow_unit": flow, "length_unit": length,
    }  # fmt: skip


def _sheet(visit, parts, cards, person):
    steps = in_words(visit.procedure.steps) if visit.procedure else []
    site = visit.site
    return {
        "kind": capfirst(visit.get_kind_display()), "code": site.code, "name": site.name, "village": site.village,
        "place": f"{site.latitude_deg:.5f}, {site.longitude_deg:.5f}", "way": site.access_notes,
        "caretaker": " ".join(filter(None, [site.caretaker_name, site.caretaker_phone])), "why": visit.why,
        "unit": visit.installation.unit.serial if visit.installation else "",
        "type": str(visit.installation.unit.pump_type) if visit.installation else "",
        "parts": [f"{name} ({why})" for _code, name, why in parts],
        "steps": [
            {"title": s["title"], "text": s["text"], "cautions": cautions,
             "fields": [_field(c, visit.installation, person) for c in s["captures"]]}
            for s, cautions in zip(steps, _cautions(steps), strict=True)
        ],
        "marked": any(c["kind"] == "mark" for s in steps for c in s["captures"]),
        "card": _card(cards.get(visit.installation_id), person),
        "length": liked("m", person)[0], "flow": liked("L/min", person)[0],
    }  # fmt: skip


def _labels():
    return {
        "trip": _("Trip"), "visit": _("Visit"), "parts": _("Parts to take"), "always": _("Always aboard"),
        "why": _("Why"), "place": _("Place"), "way": _("Way in"), "caretaker": _("Caretaker"), "unit": _("Unit"),
        "arrived": _("Arrived"), "left": _("Left"), "km": _("Kilometres"), "technician": _("Technician"),
        "mark": _("Caretaker's mark"), "bucket": _("Bucket"), "seconds": _("Seconds"),
        "sun": _("Irradiance, W/m²"), "flow": _("Flow"), "sun_by": _("Irradiance got from"),
        "ways": [str(words) for _code, words in SUN_CHOICES],
        "meter": _("Flow by the meter"), "no_water": _("No water came"),
        "watched": _("Minutes watched without water"),
        "findings": _("Findings: how it shows, where, what happened, why, what was done"),
        "not_done": _("Not done, and why"), "in": _("Serial in"), "out": _("Serial out"),
        "irradiance": _("Irradiance"), "volts": _("Volts"), "amps": _("Amps"),
        "out_volts": _("Voltage at the box's output"), "out_amps": _("Current at the box's output"),
        "static": _("Static level"),
        "pumping": _("Pumping level"), "codes_first": _("Local codes and licensed practice come first."),
        "back": _("Back to the base"), "nothing": _("Nothing planned."),
    }  # fmt: skip


def visit_sheet(visit, parts):
    """PDF of one visit's job and test sheet."""
    cards = paper_cards([visit.installation] if visit.installation else [])
    return _pdf({
        "title": f"{capfirst(visit.get_kind_display())} {visit.site.code}", "day": visit.planned_on,
        "labels": _labels(),
        "technician": str(visit.technician or ""), "stops": [], "always": [str(a) for a in codes.ALWAYS],
        "sheets": [_sheet(visit, parts, cards, visit.technician)], "lang": translation.get_language()[:2],
        "printed": timezone.localtime().strftime("%Y-%m-%d %H:%M"), "parts": [],
    })  # fmt: skip


def trip_sheet(trip, stops, back):
    """PDF of a day: the way and the parts first, then a sheet for each visit."""
    cards = paper_cards([v.installation for v, _km, _parts in stops if v.installation])
    parts = {code: f"{name} ({why})" for _v, _km, found in stops for code, name, why in found}
    return _pdf({
        "title": f"{trip.technician}, {trip.day}", "day": trip.day, "labels": _labels(),
        "technician": str(trip.technician), "always": [str(a) for a in codes.ALWAYS], "parts": list(parts.values()),
        "stops": [
            {"code": v.site.code, "name": v.site.name, "kind": str(v.get_kind_display()), "why": v.why,
             "km": None if km is None else round(km), "caretaker": v.site.caretaker_name,
             "phone": v.site.caretaker_phone}
            for v, km, _parts in stops
        ],
        "back": None if back is None else round(back),
        "sheets": [_sheet(v, p, cards, trip.technician) for v, _km, p in stops],
        "lang": translation.get_language()[:2], "printed": timezone.localtime().strftime("%Y-%m-%d %H:%M"),
    })  # fmt: skip
