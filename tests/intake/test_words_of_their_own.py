"""A table with words of its own comes in by the page: what they mean is asked, needed columns are made of others."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.intake import services, tables
from fleet.intake.forms import MatchForm
from fleet.intake.models import Upload
from fleet.registry.models import Installation, Site
from fleet.web.refusals import Refused
from tests.intake.made import as_csv, sound
from tests.makers.registry import a_module_type, a_pump_type


@pytest.fixture
def sent(client, nadia, organisation):
    a_pump_type(organisation, name="Brook 80")
    a_module_type(organisation, name="Plain 150")
    client.force_login(nadia, backend="fleet.people.backends.PersonBackend")

    def send(rows):
        client.post(reverse("intake:start"), {"table": "fleet", "file": SimpleUploadedFile("f.csv", as_csv(rows))})
        return Upload.objects.order_by("-at")[0]

    return send


def matched(upload, **said):
    form = MatchForm(upload=upload, table=tables.find(upload.table))
    return {name: field.initial or "" for name, field in form.fields.items()} | said


def of_their_own(n, **more):
    row = sound(n, instrument_level={1: "dial", 2: "box", 3: "dial"}[n])
    row.pop("site_code")
    return row | more


def test_needed_columns_are_made_of_others_and_words_are_asked_once(sent, client):
    upload = sent([of_their_own(1), of_their_own(2)])
    address = reverse("intake:match", args=[upload.pk])
    page = client.get(address).content.decode()
    assert "Needed, and no column is it" in page and "columns of your file in braces: {serial}" in page
    said = matched(upload, made_site_code="{village} {serial}", made_installer="Own crew")
    page = client.post(address, said, follow=True).content.decode()
    assert "What do these words mean?" in page and "<code>dial</code>" in page and "<code>box</code>" in page
    answer = {"head": ["instrument_level"] * 2, "cell": ["dial", "box"], "means": ["meter", "logger"]}
    page = client.post(reverse("intake:words", args=[upload.pk]), answer, follow=True).content.decode()
    assert "Keep all 2 rows" in page and "What do these words mean?" not in page
    client.post(reverse("intake:keep", args=[upload.pk]), {"word": "all"})
    hung = {i.unit.serial: i for i in Installation.objects.select_related("unit", "well__site")}
    assert {s: i.instrument_level for s, i in hung.items()} == {"RM-1": "meter", "RM-2": "logger"}
    site = hung["RM-1"].well.site
    assert {i.installer for i in hung.values()} == {"Own crew"}
    assert (site.code, site.name) == ("Nakwara RM-1", "Nakwara school")
    again = sent([of_their_own(3)])  # the same heads: all that was said is remembered
    page = client.post(reverse("intake:match", args=[again.pk]), matched(again), follow=True).content.decode()
    assert "Keep the one row" in page


def test_a_word_left_open_rejects_its_rows_and_the_others_are_read(sent, client):
    upload = sent([of_their_own(1), of_their_own(2)])
    client.post(reverse("intake:match", args=[upload.pk]), matched(upload, made_site_code="{serial}"))
    address = reverse("intake:words", args=[upload.pk])
    nothing = client.post(address, {"head": "instrument_level", "cell": "dial", "means": ""}, follow=True)
    assert "Say what at least one of these words means." in nothing.content.decode()
    wrong = client.post(address, {"head": "instrument_level", "cell": "dial", "means": "by hearsay"}, follow=True)
    assert "Say what at least one of these words means." in wrong.content.decode()
    said = {"head": "instrument_level", "cell": "dial", "means": "meter"}
    half = client.post(address, said, follow=True).content.decode()
    assert "<code>box</code>" in half and "<code>dial</code>" not in half
    upload.refresh_from_db()
    assert (upload.result["rows"], upload.result["rejected"]) == (2, 1)
    client.post(reverse("intake:keep", args=[upload.pk]), {"word": "good"})
    with pytest.raises(Refused, match="kept already"):
        services.set_words(upload=Upload.objects.get(pk=upload.pk), meanings={("instrument_level", "box"): "logger"},
                           by=upload.by)  # fmt: skip


def test_a_column_that_the_file_does_not_have_is_named(sent, client):
    upload = sent([of_their_own(1)])
    answer = client.post(reverse("intake:match", args=[upload.pk]), matched(upload, made_site_code="{number}"))
    assert answer.status_code == 422
    assert "The file has no column “number”. It has: serial" in answer.content.decode().replace("&quot;", '"')
    assert not Site.objects.exists()


def test_a_column_of_names_matched_with_choices_is_not_asked_word_by_word(sent, client):
    rows = [sound(1, serial=f"RM-{n}", site_code=f"S{n}", instrument_level=f"name {n}") for n in range(30)]
    upload = sent(rows)
    client.post(reverse("intake:match", args=[upload.pk]), matched(upload))
    upload.refresh_from_db()
    assert upload.result["rejected"] == 30 and upload.result["words"] == []
