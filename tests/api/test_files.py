"""Photos and documents of places by the API: kept once, fetched, withdrawn; no other file is taken."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from fleet.registry.models import Attachment
from tests.makers.registry import an_installation

ROOT = "/api/v1/"
PDF = b"%PDF-1.4\n1 0 obj<<>>endobj\n%%EOF\n"


@pytest.fixture
def hung(organisation):
    return an_installation(organisation)


def a_photo():
    out = io.BytesIO()
    Image.effect_noise((60, 40), 60).convert("RGB").save(out, "JPEG")
    return SimpleUploadedFile("head.jpg", out.getvalue(), "image/jpeg")


def sends(api, address, **body):
    return api.post(ROOT + address, body, format="multipart")


def test_a_photo_and_a_document_are_kept_once_fetched_and_withdrawn(hung, idris, nadia, api_of):
    api, site = api_of(idris), f"sites/{hung.well.site.code}/"
    made = sends(api, site + "attachments/", file=a_photo(), caption="the well head")
    assert made.status_code == 201 and made.json()["is_image"] is True
    sheet = SimpleUploadedFile("sheet.pdf", PDF, "application/pdf")
    assert sends(api, f"installations/{hung.pk}/attachments/", file=sheet).json()["is_image"] is False
    sheet.seek(0)
    sends(api, f"installations/{hung.pk}/attachments/", file=sheet)
    assert Attachment.objects.count() == 2
    (shown,) = api.get(ROOT + site).json()["attachments"]
    assert shown["caption"] == "the well head"
    file = f"{ROOT}attachments/{shown['id']}/"
    assert b"".join(api.get(file).streaming_content).startswith(b"\xff\xd8")
    assert api.delete(file).status_code == 403
    assert api_of(nadia).delete(file).status_code == 204
    assert Attachment.objects.count() == 1 and api.get(file).status_code == 404


def test_a_file_that_is_not_what_its_name_says_is_refused(hung, idris, api_of):
    false = SimpleUploadedFile("head.jpg", b"MZ no picture", "image/jpeg")
    answer = sends(api_of(idris), f"installations/{hung.pk}/attachments/", file=false)
    assert answer.status_code == 409 and answer.json()["errors"][0]["field"] == "file"
    assert "whatever its name says" in answer.json()["errors"][0]["sentence"]
    for body in ({}, {"file": ""}, {"file": SimpleUploadedFile("empty.jpg", b"", "image/jpeg")}):
        answer = sends(api_of(idris), f"installations/{hung.pk}/attachments/", **body)
        assert answer.status_code == 400 and answer.json()["errors"][0]["field"] == "file"
    answer = api_of(idris).post(f"{ROOT}installations/{hung.pk}/attachments/", {"file": "x"}, format="json")
    assert answer.status_code == 415
    assert not Attachment.objects.exists()


def test_managers_and_strangers_keep_nothing(hung, wanja, otto, api_of):
    assert sends(api_of(wanja), f"installations/{hung.pk}/attachments/", file=a_photo()).status_code == 403
    assert sends(api_of(otto), f"installations/{hung.pk}/attachments/", file=a_photo()).status_code == 404
    assert sends(api_of(otto), f"sites/{hung.well.site.code}/attachments/", file=a_photo()).status_code == 404
    assert not Attachment.objects.exists()
