"""Photos of a visit: are they images at all, made smaller, kept without what a telephone hides in them."""

import hashlib
import io
import uuid
from datetime import datetime

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from PIL import Image, ImageOps, UnidentifiedImageError

from fleet.visits.models import Photo
from fleet.visits.services.logging import writable
from fleet.web.refusals import Refused

LONGEST_SIDE = 1600
MOST_BYTES = 25 * 1024 * 1024
MOST_PIXELS = 80_000_000  # more than any telephone's; a small file may claim a huge picture
QUALITY = 80
MOST_BARE_BYTES = 600_000  # a telephone makes them smaller than that
BARE = {"APP0", "APP2", "APP14"}  # segments that tell about the picture's points and colours only
END_OF_JPEG = b"\xff\xd9"


def _bare(image):
    """A JPEG as a telephone's shrinking makes it, with nothing in it but the picture: kept as it is, to the byte."""
    return image.format == "JPEG" and image.mode == "RGB" and {name for name, _data in image.applist} <= BARE


def _read(data):
    """(JPEG bytes, time of taking or None). The picture is turned upright; all else in the file is left behind."""
    if len(data) > MOST_BYTES:
        raise Refused("photo_too_large", _("This photo is larger than 25 MB. Send it smaller."), field="photo")
    try:
        image = Image.open(io.BytesIO(data))
        if image.width * image.height > MOST_PIXELS:
            raise Refused("photo_too_large", _("This picture has too many points. Send it smaller."), field="photo")
        taken = image.getexif().get_ifd(0x8769).get(0x9003)  # Exif: DateTimeOriginal
        if _bare(image) and max(image.size) <= LONGEST_SIDE and len(data) <= MOST_BARE_BYTES:
            image.load()  # damaged ones are found here
            return data[: data.rindex(END_OF_JPEG) + 2], taken
        image = ImageOps.exif_transpose(image)
        image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
        out = io.BytesIO()
        image.convert("RGB").save(out, "JPEG", quality=QUALITY, optimize=True)
    except Refused:
        raise
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        raise Refused(
            "not_an_image", _("This file is not a picture, or it is damaged. Take the photo again."), field="photo"
        ) from None
    return out.getvalue(), taken


def photo_bytes(file):
    """What an uploaded file holds; one that is too large is refused before it is read into memory."""
    if file.size > MOST_BYTES:
        raise Refused("photo_too_large", _("This photo is larger than 25 MB. Send it smaller."), field="photo")
    return file.read()


def _when(text):
    try:
        return timezone.make_aware(datetime.strptime(text, "%Y:%m:%d %H:%M:%S")) if text else None
    except (TypeError, ValueError):
        return None


@transaction.atomic
def keep_photo(*, visit, data, by, step="", key=None, taken_at=None, latitude_deg=None, longitude_deg=None, caption="",
               late=False):  # fmt: skip
    """Keep a photo of a step. The same key sent twice is one photo."""
    if key is not None and (already := Photo.objects.filter(key=key).first()):
        if already.visit_id != visit.pk:
            raise Refused("key_taken", _("This photo's key belongs to another visit."))
        return already
    visit = writable(visit, by, late)
    jpeg, taken = _read(data)
    photo = Photo(
        key=key or uuid.uuid4(), visit=visit, step=step[:40], taken_at=taken_at or _when(taken) or timezone.now(),
        latitude_deg=latitude_deg, longitude_deg=longitude_deg, caption=caption[:200],
        sha256=hashlib.sha256(data).hexdigest(),
    )  # fmt: skip
    photo.file.save("photo.jpg", ContentFile(jpeg), save=False)
    photo.save()
    return photo


def small_photo(photo, longest=320):
    """JPEG bytes of a small copy, a few kilobytes, for a telephone to take along."""
    with photo.file.open("rb") as file:
        image = Image.open(file)
        image.thumbnail((longest, longest))
        out = io.BytesIO()
        image.convert("RGB").save(out, "JPEG", quality=55, optimize=True)
    return out.getvalue()
