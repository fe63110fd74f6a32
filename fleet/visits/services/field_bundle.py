"""What a technician's telephone takes along: the visits of the coming days with everything they need, in one answer."""

import hashlib
import json
from datetime import timedelta

from django.conf import settings
from django.utils import timezone
from django.utils.translation import get_language

from fleet.output import advice
from fleet.output.services import weighing
from fleet.people.access import require
from fleet.visits import codes
from fleet.visits.field_words import words
from fleet.visits.models import FieldDevice, Photo, Visit
from fleet.visits.procedures.reading import cautions_in_words, in_words
from fleet.visits.services import field_card, field_sun
from fleet.visits.services.field_kept import kept_cards
from fleet.visits.services.known import known_of
from fleet.visits.services.setting_up import set_up
from fleet.visits.services.trips import likely_causes, parts_for

FORMAT = 1
MOST_DAYS = 14
HISTORY = 5  # earlier visits told in short
PHOTOS = 4  # of the site, small


def bundle(*, by, device=None, days=3):
    """The whole of it, as plain data. `hash` changes only with the content, so that the telephone can tell."""
    require(by, "log")
    set_up(by.organisation)
    today = timezone.localdate()
    visits = list(
        Visit.objects.filter(
            organisation=by.organisation, technician=by, state__in=["assigned", "under_way", "logged"],
            planned_on__lte=today + timedelta(days=min(days, MOST_DAYS)),
            planned_on__gte=today - timedelta(days=MOST_DAYS),
        )
        .select_related(
            "site__district", "installation__unit__pump_type", "installation__unit__label", "installation__well__tank",
            "installation__module_type", "installation__pipe", "procedure", "shortfall", "call",
        )
        .order_by("planned_on", "trip_order", "id")
    )  # fmt: skip
    installations = {v.installation_id: v.installation for v in visits if v.installation}
    cards, costs = kept_cards(installations, today)
    content = {
        "format": FORMAT,
        "person": {
            "id": by.pk, "name": str(by), "language": by.language or get_language(), "theme": by.theme,
            "flow_unit": by.flow_unit, "length_unit": by.length_unit,
        },
        "offline_days": settings.FIELD_OFFLINE_DAYS,
        "cautions": cautions_in_words(),
        "weighing": weighing() | advice.in_words(),
        "lists": _lists(by),
        "always": [str(a) for a in codes.ALWAYS],
        "procedures": {str(v.procedure_id): _procedure(v.procedure) for v in visits if v.procedure},
        "visits": [
            _visit(v, cards.get(v.installation_id, {}), costs.get(v.installation_id)) for v in visits
        ],
        "words": words(),
    }  # fmt: skip
    content["hash"] = hashlib.sha256(json.dumps(content, sort_keys=True, default=str).encode()).hexdigest()[:16]
    content["server_now"] = timezone.now().isoformat()
    if device is not None:
        FieldDevice.objects.filter(pk=device.pk).update(packed_at=timezone.now())
    return content


def _procedure(procedure):
    return {"kind": procedure.kind, "version": procedure.version, "steps": in_words(procedure.steps)}


def _lists(by):
    def plain(mapping):
        return {code: str(text) for code, text in mapping.items()}

    return {
        "item": plain(codes.ITEMS), "failure_mode": plain(codes.FAILURE_MODES), "mechanism": plain(codes.MECHANISMS),
        "cause": plain(codes.CAUSES), "detection": plain(codes.DETECTIONS), "action": plain(codes.ACTIONS),
        "parts": [[p.code, p.name] for p in by.organisation.part_types.all()],
    }  # fmt: skip


def _visit(visit, card, cost):
    site, installation = visit.site, visit.installation
    unit = installation.unit if installation else None
    label = getattr(unit, "label", None) if unit else None
    return {
        "key": str(visit.key), "version": visit.version, "kind": visit.kind, "kind_word": str(visit.get_kind_display()),
        "state": visit.state, "why": visit.why, "day": visit.planned_on.isoformat(), "order": visit.trip_order,
        "procedure": str(visit.procedure_id) if visit.procedure_id else None,
        "site": {
            "code": site.code, "name": site.name, "village": site.village, "district": site.district.name,
            "latitude_deg": site.latitude_deg, "longitude_deg": site.longitude_deg, "zone": site.zone,
            "way": site.access_notes, "caretaker": site.caretaker_name, "phone": site.caretaker_phone,
            "signal": site.signal,
        },
        "unit": unit
        and {"serial": unit.serial, "type": unit.pump_type.name, "label": label.code if label else ""},
        "built": _built(installation) if installation else None,
        "known": known_of(installation, visit), "cost": cost,
        "card": field_card.with_own_level(card, installation), "sun": field_sun.sun_of(site),
        "parts": [[code, name, why] for code, name, why in parts_for(visit)],
        "causes": [[str(codes.CAUSES.get(c, c)), round(odds, 2)] for c, odds in likely_causes(visit)],
        "danger": bool(visit.shortfall and visit.shortfall.danger),
        "told": visit.call.words if visit.call else "",
        "history": _history(visit), "photos": _photos(visit),
    }  # fmt: skip


def _built(installation):
    return {
        "strings": installation.strings, "modules_in_series": installation.modules_in_series,
        "tilt_deg": installation.tilt_deg, "azimuth_deg": installation.azimuth_deg,
        "setting_depth_m": installation.setting_depth_m, "pipe_m": installation.pipe_length_m,
        "rope_m": installation.rope_length_m, "cable_m": installation.cable_length_m,
        "controller": installation.controller,
    }  # fmt: skip


def _history(visit):
    earlier = (
        Visit.objects.filter(site=visit.site, state="closed").exclude(pk=visit.pk).prefetch_related("findings")
        .order_by("-closed_at")[:HISTORY]
    )  # fmt: skip
    return [
        {
            "day": (v.left_at or v.closed_at).date().isoformat(), "kind": str(v.get_kind_display()),
            "outcome": str(codes.OUTCOMES.get(v.outcome, "")),
            "found": [str(codes.CAUSES.get(f.cause, f.cause)) for f in v.findings.all() if f.taken_back_at is None],
        }
        for v in earlier
    ]  # fmt: skip


def _photos(visit):
    keys = Photo.objects.filter(visit__site=visit.site).exclude(visit=visit).order_by("-taken_at")
    return [f"/visits/photos/{key}.jpg?small=1" for key in keys.values_list("key", flat=True)[:PHOTOS]]
