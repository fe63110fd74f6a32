"""What a telephone sends: pieces of a visit's log, photos in parts."""

import io
import uuid
from datetime import timedelta

from django.utils import timezone
from PIL import Image

from tests.makers.visits import values_for

PIECES = "/api/v1/field/pieces/"


def a_piece(visit, kind, minutes=0, key=None, **payload):
    at = timezone.now() - timedelta(hours=2) + timedelta(minutes=minutes)
    return {
        "key": str(key or uuid.uuid4()), "visit": str(visit.key), "version": visit.version, "kind": kind,
        "at": at.isoformat(), "format": 1, "payload": payload,
    }  # fmt: skip


def a_step_piece(visit, code, minutes=5, key=None, replaces=None, **changes):
    step = next(s for s in visit.procedure.steps if s["code"] == code)
    values = values_for(step, visit.installation) | changes.pop("values", {})
    known = {"step": code, "values": values, "cautions_seen": step["cautions"], "replaces": replaces}
    return a_piece(visit, "step", minutes, key, **known | changes)


def an_image(seed=1, size=(900, 700)):
    out = io.BytesIO()
    Image.effect_noise(size, 40 + seed).convert("RGB").save(out, "JPEG", quality=70)
    return out.getvalue()


def send_photo(api, key, data, device, parts=None, size=20_000):
    places = range(0, len(data), size)
    for place in parts if parts is not None else places:
        answer = api.put(
            f"/api/v1/field/photos/{key}/?place={place}&total={len(data)}&device={device}",
            data[place : place + size], content_type="application/octet-stream",
        )  # fmt: skip
        assert answer.status_code == 200, answer.content
    return answer.json()["here"]
