"""The disk for files is full or may not be written to: a sentence, nothing half kept, nothing else lost."""

import gc
import io
import logging
import os
import subprocess
import warnings

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from fleet.intake.models import Upload
from fleet.registry.models import Attachment
from tests.makers.registry import an_installation

pytestmark = pytest.mark.django_db
SENTENCE = "the disk for files is full or may not be written to"


def _mount(folder, *options):
    return subprocess.run(["mount", *options, str(folder)], capture_output=True, check=False).returncode == 0


@pytest.fixture(params=["full", "read only"])
def no_room(request, tmp_path, settings):
    """A real small disk that is full, or one that may only be read. A plain user's folder only loses its right."""
    place = tmp_path / "files"
    place.mkdir()
    settings.MEDIA_ROOT = str(place)
    if os.geteuid() != 0:
        if request.param == "full":
            pytest.skip("only root can make a small disk to fill")
        place.chmod(0o500)
        yield place
        place.chmod(0o700)
        return
    if not _mount(place, "-t", "tmpfs", "-o", "size=64k", "tmpfs"):
        pytest.skip("this machine lets nobody make a small disk (no right to mount)")
    try:
        if request.param == "full":
            with pytest.raises(OSError), (place / "ballast").open("wb") as ballast:
                ballast.write(b"x" * 200_000)
        else:
            assert _mount(place, "-o", "remount,ro")
        yield place
    finally:
        subprocess.run(["umount", "--lazy", str(place)], check=True)


def photo():
    out = io.BytesIO()
    Image.effect_noise((400, 300), 90).save(out, "JPEG")
    return SimpleUploadedFile("well.jpg", out.getvalue(), "image/jpeg")


def test_a_table_that_cannot_be_kept_is_told_on_its_form(no_room, nadia, client_of):
    before = {p.name for p in no_room.rglob("*") if p.is_file()}
    file = SimpleUploadedFile("pipes.csv", b"Name,Outside diameter (mm)\n" + b"PE 32,32\n" * 9000)
    answer = client_of(nadia).post(reverse("intake:start"), {"table": "pipes", "file": file})
    assert answer.status_code == 422 and SENTENCE in answer.content.decode()
    assert not Upload.objects.exists()
    assert {p.name for p in no_room.rglob("*") if p.is_file()} == before, "no half file stays"


def test_a_photo_of_a_site_that_cannot_be_kept_is_told_on_its_form(no_room, nadia, client_of):
    site = an_installation(nadia.organisation).well.site
    address = reverse("registry:attach_to_site", args=[site.code])
    answer = client_of(nadia).post(address, {"file": photo(), "caption": "the well head"})
    page = answer.content.decode()
    assert answer.status_code == 422 and SENTENCE in page and "the well head" in page
    assert not Attachment.objects.exists()


def test_a_large_file_that_finds_no_room_on_its_way_in_is_told_as_what_it_is(no_room, nadia, client_of, settings):
    settings.FILE_UPLOAD_TEMP_DIR = str(no_room)
    client = client_of(nadia)
    client.raise_request_exception = False
    file = SimpleUploadedFile("pipes.csv", b"Name,Outside diameter (mm)\n" + b"PE 32,32\n" * 400_000)
    logging.disable(logging.CRITICAL)  # a line of the log would keep the half-written file open
    answer = client.post(reverse("intake:start"), {"table": "pipes", "file": file})
    logging.disable(logging.NOTSET)
    status, page = answer.status_code, answer.content.decode()
    client.exc_info = None
    del answer
    with warnings.catch_warnings():  # the framework leaves what it could not write to be swept up
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()
    if os.geteuid() == 0:
        assert status == 507 and "The disk is full" in page
    else:
        assert status in {500, 507}


def test_when_there_is_room_again_the_same_file_is_kept(tmp_path, settings, nadia, client_of):
    settings.MEDIA_ROOT = str(tmp_path)
    file = SimpleUploadedFile("pipes.csv", b"Name,Outside diameter (mm)\nPE 32,32\n")
    answer = client_of(nadia).post(reverse("intake:start"), {"table": "pipes", "file": file})
    assert answer.status_code == 302 and Upload.objects.count() == 1
