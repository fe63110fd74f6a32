"""A day and a visit on paper: job sheet, test sheet, expected card. Drawn by Typst from plain data."""

import json
from pathlib import Path

import typst
from django.conf import settings
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from fleet.visits import codes
from fleet.visits.procedures.cautions import CAUTIONS
from fleet.visits.procedures.reading import how_many, in_words
from fleet.visits.services.card import paper_cards

TEMPLATE = Path(settings.BASE_DIR) / "templates" / "visits" / "sheet.typ"


def _pdf(data):
    return typst.compile(str(TEMPLATE), sys_inputs={"data": json.dumps(data, default=str)})


def _field(capture, installation):
    n = capture.get("repeats", 1)
    if not isinstance(n, int):
        n = how_many(capture, installation)
    options = [str(o["label"]) for o in capture.get("options", [])]
    if capture["kind"] == "yes_no":
        options = [_("yes"), _("no")]
    return {
        "label": capture["label"], "unit": capture.get("unit", ""), "kind": capture["kind"], "n": min(n, 12),
        "options": options,
    }  # fmt: skip


def _sheet(visit, parts, cards):
    steps = in_words(visit.procedure.steps) if visit.procedure else []
    marks = list(dict.fromkeys(c for s in steps for c in s.get("cautions", [])))
    site = visit.site
    return {
        "kind": str(visit.get_kind_display()), "code": site.code, "name": site.name, "village": site.village,
        "place": f"{site.latitude_deg:.5f}, {site.longitude_deg:.5f}", "way": site.access_notes,
        "caretaker": " ".join(filter(None, [site.caretaker_name, site.caretaker_phone])), "why": visit.why,
        "unit": visit.installation.unit.serial if visit.installation else "",
        "type": str(visit.installation.unit.pump_type) if visit.installation else "",
        "parts": [f"{name} ({why})" for _code, name, why in parts],
        "cautions": [{"mark": c, "title": _(CAUTIONS[c]["title"]), "full": _(CAUTIONS[c]["full"])} for c in marks],
        "steps": [
            {"title": s["title"], "text": s["text"], "cautions": s.get("cautions", []),
             "fields": [_field(c, visit.installation) for c in s["captures"]]}
            for s in steps
        ],
        "card": cards.get(visit.installation_id),
    }  # fmt: skip


def _labels():
    return {
        "trip": _("Trip"), "visit": _("Visit"), "parts": _("Parts to take"), "always": _("Always aboard"),
        "why": _("Why"), "place": _("Place"), "way": _("Way in"), "caretaker": _("Caretaker"), "unit": _("Unit"),
        "arrived": _("Arrived"), "left": _("Left"), "km": _("Kilometres"), "technician": _("Technician"),
        "mark": _("Caretaker's mark"), "litres": _("L"), "seconds": _("s"), "cautions": _("Cautions"),
        "card": _("Expected flow, L/min, by irradiance and static level"), "sun": _("Irradiance, W/m²"),
        "level": _("Static level, m"),
        "findings": _("Findings: how it shows, where, what happened, why, what was done"),
        "not_done": _("Not done, and why"), "in": _("Serial in"), "out": _("Serial out"),
        "irradiance": _("Irradiance"), "volts": _("Volts"), "amps": _("Amps"), "static": _("Static level"),
        "pumping": _("Pumping level"), "codes_first": _("Local codes and licensed practice come first."),
        "back": _("Back to the base"), "nothing": _("Nothing planned."),
    }  # fmt: skip


def visit_sheet(visit, parts):
    """PDF of one visit's job and test sheet."""
    cards = paper_cards([visit.installation] if visit.installation else [])
    return _pdf({
        "title": f"{visit.get_kind_display()} {visit.site.code}", "day": visit.planned_on, "labels": _labels(),
        "technician": str(visit.technician or ""), "stops": [], "always": [str(a) for a in codes.ALWAYS],
        "sheets": [_sheet(visit, parts, cards)], "lang": translation.get_language()[:2],
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
        "back": None if back is None else round(back), "sheets": [_sheet(v, p, cards) for v, _km, p in stops],
        "lang": translation.get_language()[:2], "printed": timezone.localtime().strftime("%Y-%m-%d %H:%M"),
    })  # fmt: skip
