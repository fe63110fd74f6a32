"""Days written 3/4/2025: each column says which comes first, or the user is asked."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.intake import services, tables
from fleet.intake.forms import MatchForm
from fleet.intake.models import Upload
from fleet.registry.models import StaticLevel
from tests.intake.made import KINDS, as_csv, sound
from tests.makers.registry import a_module_type, a_pump_type


@pytest.fixture
def bring(organisation, tmp_path):
    a_pump_type(organisation, name="Brook 80")
    a_module_type(organisation, name="Plain 150")

    def brought(days, mapping=None, kind="csv", **others):
        rows = [sound(n, measured_on=day, **{k: v[n] for k, v in others.items()}) for n, day in enumerate(days)]
        path = tmp_path / f"days.{kind}"
        path.write_bytes(KINDS[kind](rows))
        return services.bring_in_file(table="fleet", path=path, organisation=organisation, word="good", mapping=mapping)

    return brought


def kept():
    return [str(level.measured_on) for level in StaticLevel.objects.order_by("well__site__code")]


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("days", "wanted", "note"), [
    (["3/4/2024", "13/4/2024"], ["2024-04-03", "2024-04-13"],
     "“measured_on” writes the day first, as 13/4/2024 in line 3 shows."),
    (["3-4-2024", "4-13-2024"], ["2024-03-04", "2024-04-13"],
     "“measured_on” writes the month first, as 4-13-2024 in line 3 shows."),
    (["2024-04-03", "4.4.2024"], ["2024-04-03", "2024-04-04"], None),
])  # fmt: skip
def test_a_column_that_shows_its_order_is_read_in_it(bring, days, wanted, note, kind):
    outcome = bring(days, kind=kind)
    assert outcome.rejected == 0 and outcome.questions == []
    assert outcome.notes == ([note] if note else [])
    assert kept() == wanted


def test_the_proof_may_stand_anywhere_in_the_file(bring, monkeypatch):
    monkeypatch.setattr("fleet.intake.run.LOOKED_AHEAD", 2)
    assert bring(["3/4/2024", "5/4/2024", "6/4/2024", "25/4/2024"]).rejected == 0
    assert kept()[0] == "2024-04-03"


def test_a_column_that_shows_both_orders_is_not_trusted(bring):
    outcome = bring(["3/4/2024", "13/4/2024", "4/14/2024"])
    assert (outcome.new, outcome.rejected) == (2, 1)
    assert "some days day first (13/4/2024, line 3) and some month first (4/14/2024, line 4)" in outcome.notes[0]
    assert "Could be 3 April or 4 March" in outcome.faults[0].sentence
    assert outcome.questions == []  # no one answer is right


def test_each_column_has_its_own_order(bring):
    outcome = bring(["3/4/2024", "13/4/2024"], commissioned_on=["5/3/2024", "5/23/2024"])
    assert outcome.rejected == 0 and len(outcome.notes) == 2
    assert kept() == ["2024-04-03", "2024-04-13"]


def test_a_column_that_shows_neither_is_asked_and_the_word_holds_for_it_alone(bring):
    outcome = bring(["3/4/2024", "5/4/2024"], commissioned_on=["1/2/2024", "1/3/2024"])
    assert outcome.rejected == 2
    assert outcome.questions == [
        {"head": "measured_on", "line": 2, "cell": "3/4/2024"},
        {"head": "commissioned_on", "line": 2, "cell": "1/2/2024"},
    ]  # fmt: skip
    outcome = bring(["3/4/2024", "5/4/2024"], {"date_orders": {"measured_on": "mdy"}, "date_order": "dmy"},
                    commissioned_on=["1/2/2024", "1/3/2024"])  # fmt: skip
    assert outcome.rejected == 0 and outcome.questions == []
    assert kept() == ["2024-03-04", "2024-05-04"]


def test_the_page_asks_and_reads_again_as_the_user_says(client, nadia, bring):
    client.force_login(nadia, backend="fleet.people.backends.PersonBackend")
    file = SimpleUploadedFile("days.csv", as_csv([sound(1, measured_on="3/4/2024"), sound(2, measured_on="5/4/2024")]))
    client.post(reverse("intake:start"), {"table": "fleet", "file": file})
    upload = Upload.objects.get()
    client.post(reverse("intake:match", args=[upload.pk]), _as_matched(upload))
    page = client.get(reverse("intake:upload", args=[upload.pk])).content.decode()
    assert "Which comes first, the day or the month?" in page
    assert "3 April 2024" in page and "4 March 2024" in page
    address = reverse("intake:day_order", args=[upload.pk])
    nothing = client.post(address, {"head": "measured_on", "order": ""}, follow=True)
    assert "Say whether the day or the month comes first." in nothing.content.decode()
    answered = client.post(address, {"head": "measured_on", "order": "mdy"}, follow=True).content.decode()
    assert "Keep all 2 rows" in answered and "Which comes first" not in answered
    client.post(reverse("intake:keep", args=[upload.pk]), {"word": "all"})
    assert kept() == ["2024-03-04", "2024-05-04"]


def _as_matched(upload):
    form = MatchForm(upload=upload, table=tables.find(upload.table))
    return {name: field.initial for name, field in form.fields.items() if field.initial}
