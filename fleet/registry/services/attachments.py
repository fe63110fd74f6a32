"""Photos and documents of a site or an installation."""

import hashlib
import io

from django.core.files.base import ContentFile
from django.db import transaction
from django.utils.translation import gettext as _

from fleet.registry.models import Attachment
from fleet.registry.services.keeping import require_own
from fleet.web.refusals import Refused

MOST_BYTES = 25 * 1024 * 1024
LONGEST_SIDE = 2400
DOCUMENTS = {b"%PDF": "pdf"}
NAMES = {"pdf": ".pdf", "jpeg": ".jpg", "png": ".png", "webp": ".webp"}


def _photo(content):
    """The image made smaller and stripped of all but its pixels, as (bytes, kind); None where it is no image.

    Strips the place and the phone's name that cameras write into files; where a photo was taken is kept apart.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    try:
        with Image.open(io.BytesIO(content)) as image:
            if image.format not in {"JPEG", "PNG", "WEBP"} or image.width * image.height > 80_000_000:
                return None
            kind = image.format
            image.load()
            image = ImageOps.exif_transpose(image)
            image.thumbnail((LONGEST_SIDE, LONGEST_SIDE))
            out = io.BytesIO()
            if kind != "PNG":
                kind = "JPEG"
                image = image.convert("RGB")
            image.save(out, kind, quality=85)
            return out.getvalue(), kind.lower()
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError, SyntaxError):
        return None


@transaction.atomic
def attach(*, file, by, site=None, installation=None, caption="", taken_at=None, latitude_deg=None, longitude_deg=None):
    """Keep a photo (JPEG, PNG, WebP) or a PDF. What it is, its content says. The same file twice is kept once."""
    if (site is None) == (installation is None):
        raise Refused("one_place", _("A photo belongs to a site or to an installation."))
    require_own(by, "log", site or installation)
    if file.size > MOST_BYTES:
        raise Refused("too_big", _("This file is bigger than 25 MB."), "file")
    content = file.read()
    digest = hashlib.sha256(content).hexdigest()
    organisation_id = (site or installation).organisation_id
    same = Attachment.objects.filter(site=site, installation=installation, sha256=digest).first()
    if same:
        return same
    kind = next((kind for sign, kind in DOCUMENTS.items() if content.startswith(sign)), None)
    photo = None
    if kind is None:
        photo = _photo(content)
        if photo is None:
            raise Refused("no_image", _("This is neither a photo (JPEG, PNG, WebP) nor a PDF, whatever its name says. "
                                        "Take the photo again, or save it as JPEG."), "file")  # fmt: skip
        content, kind = photo
    made = Attachment(
        organisation_id=organisation_id, site=site, installation=installation, name=str(file.name)[-120:],
        is_image=photo is not None, caption=caption[:200], taken_at=taken_at, latitude_deg=latitude_deg,
        longitude_deg=longitude_deg, sha256=digest, added_by=by,
    )  # fmt: skip
    made.file.save(f"file{NAMES[kind]}", ContentFile(content), save=False)
    made.save()
    return made


@transaction.atomic
def withdraw(*, attachment, by):
    """Take a photo or document away. The trail keeps that it was there; the file goes after commit."""
    require_own(by, "edit_registry", attachment)
    file = attachment.file
    attachment.delete()
    transaction.on_commit(lambda: file.storage.delete(file.name))
