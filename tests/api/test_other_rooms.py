"""What the other pages show, for programs: attention, a unit's life, my day, the map, tables, tokens, changes."""

from datetime import date, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from fleet.intake.models import Upload
from fleet.people.services import make_token
from fleet.registry.services import attach, keep_unit
from fleet.visits import services as visits
from fleet.visits.models import Call, Finding, PartUse
from tests.makers.everything import one_of_each
from tests.makers.judged import a_shortfall
from tests.makers.people import a_person
from tests.makers.registry import an_installation
from tests.makers.visits import a_call, a_visit, a_visit_under_way, an_assigned_visit

ROOT = "/api/v1/"
TODAY = timezone.localdate()


@pytest.fixture
def one(organisation):
    visits.set_up(organisation)
    return an_installation(organisation)


@pytest.fixture
def reads(nadia, api_of):
    def read(address, status=200, person=nadia):
        answer = api_of(person).get(ROOT + address)
        assert answer.status_code == status, answer.content
        return answer.json()

    return read


def test_attention_knows_the_visit_that_is_planned(one, organisation, idris, reads, otto):
    other = an_installation(organisation)
    first, second = a_shortfall(one, lost_l_day=3000), a_shortfall(other, lost_l_day=1000)
    visit = an_assigned_visit(one, idris)
    rows = reads("attention/")["results"]
    assert [row["id"] for row in rows] == [first.pk, second.pk]
    assert rows[0]["visit"] == {"key": str(visit.key), "planned_on": TODAY.isoformat(), "technician": "Idris"}
    assert rows[1]["visit"] is None
    assert [row["id"] for row in reads("attention/?assigned=no")["results"]] == [second.pk]
    assert [r["id"] for r in reads(f"attention/?district={one.well.site.district.name}")["results"]] == [first.pk]
    assert reads("attention/?district=Nowhere")["results"] == []
    assert reads("attention/counts/")["open"] == 2
    assert reads("attention/counts/", person=otto)["open"] == 0


def test_a_units_whole_life_newest_first(one, idris, reads, otto):
    a_shortfall(one, flagged_on=TODAY, since=TODAY - timedelta(days=3))
    an_assigned_visit(one, idris)
    found = reads(f"units/{one.unit_id}/life/?from=2024-01-01")
    assert {"hung", "shortfall", "visit"} <= {moment["kind"] for moment in found}
    assert [m["at"] for m in found] == sorted((m["at"] for m in found), reverse=True)
    assert "hung" not in {moment["kind"] for moment in reads(f"units/{one.unit_id}/life/")}
    reads(f"units/{one.unit_id}/life/", status=404, person=otto)


def test_a_technicians_day_is_their_own(one, idris, nadia, reads, organisation):
    short = a_shortfall(one, parts=["splice kit"])
    mine = an_assigned_visit(one, idris, shortfall=short)
    an_assigned_visit(an_installation(organisation), a_person(organisation))
    found = reads(f"my-day/?day={TODAY}", person=idris)
    assert [stop["key"] for stop in found["today"]] == [str(mine.key)]
    assert found["parts"] == [{"part": "splice kit", "visits": 1}]
    reads("my-day/", status=403)


def test_the_map_is_geojson_with_longitude_first(one, reads, otto):
    (feature,) = reads("places/")["features"]
    site = one.well.site
    assert feature["geometry"]["coordinates"] == [site.longitude_deg, site.latitude_deg]
    assert reads("places/", person=otto)["features"] == []


def test_visits_are_narrowed_by_what_their_page_narrows(one, organisation, idris, reads):
    mine = an_assigned_visit(one, idris)
    late = a_visit(an_installation(organisation), due_on=TODAY - timedelta(days=9))

    def keys(asked):
        return {row["key"] for row in reads(f"visits/?{asked}")["results"]}

    assert keys(f"serial={one.unit.serial}") == keys(f"installation={one.pk}") == {str(mine.key)}
    assert keys(f"due_before={TODAY}") == keys(f"to={TODAY - timedelta(days=1)}") == {str(late.key)}
    assert keys(f"district={one.well.site.district.name}") == keys(f"from={TODAY}") == {str(mine.key)}
    for wrong in ("state=asleep", "kind=magic", "from=soon", "installation=x"):
        assert reads(f"visits/?{wrong}", status=400)["errors"][0]["sentence"]


def test_a_part_is_used_and_a_finding_taken_back(one, idris, wanja, otto, reads, api_of):
    visit = a_visit_under_way(one, idris)
    part = reads("parts/")["results"][0]
    body = {"part": part["code"], "quantity": 2, "serial_in": "X-1"}
    address = f"{ROOT}visits/{visit.key}/parts/"
    assert api_of(idris).post(address, body, format="json").json()["quantity"] == 2
    assert PartUse.objects.get().serial_in == "X-1"
    assert api_of(wanja).post(address, body, format="json").status_code == 403
    assert api_of(otto).post(address, body, format="json").status_code == 404
    assert api_of(idris).post(address, body | {"part": "moon"}, format="json").status_code == 404
    finding = Finding.objects.create(visit=visit, failure_mode="less_water", cause="dirt", action="cleaned")
    address = f"{ROOT}findings/{finding.pk}/take-back/"
    assert api_of(idris).post(address, {"why": ""}, format="json").status_code == 400
    assert api_of(otto).post(address, {"why": "mistaken"}, format="json").status_code == 404
    assert api_of(idris).post(address, {"why": "mistaken"}, format="json").json()["taken_back_why"] == "mistaken"
    assert reads("findings/?standing=yes")["results"] == []
    assert len(reads(f"findings/?standing=no&serial={one.unit.serial}")["results"]) == 1


@pytest.mark.parametrize(("how", "state"), [("by_phone", "by_phone"), ("close", "closed"), ("visit", "visit")])
def test_a_call_is_settled_once(how, state, one, nadia, wanja, otto, api_of):
    address = f"{ROOT}calls/{a_call(one.well.site).pk}/settle/"
    assert api_of(wanja).post(address, {"how": how}, format="json").status_code == 403
    assert api_of(otto).post(address, {"how": how}, format="json").status_code == 404
    assert api_of(nadia).post(address, {"how": "dance"}, format="json").status_code == 400
    assert api_of(nadia).post(address, {"how": how}, format="json").json()["state"] == state
    assert Call.objects.get().state == state
    if how != "by_phone":  # whoever was helped by telephone may be rung back and helped again
        again = api_of(nadia).post(address, {"how": how}, format="json")
        assert again.status_code == 409 and again.json()["errors"][0]["code"] == "call_settled"


def test_an_attachment_is_fetched_with_a_token_by_its_own_people(one, nadia, otto, client, reads):
    paper = SimpleUploadedFile("sheet.pdf", b"%PDF-1.4 a sheet")
    row = attach(file=paper, by=nadia, installation=one, caption="test sheet")
    (listed,) = reads(f"installations/{one.pk}/")["attachments"]
    assert listed["caption"] == "test sheet"
    for person, status in ((nadia, 200), (otto, 404)):
        _token, key = make_token(person=person, name="t")
        answer = client.get(f"{ROOT}attachments/{row.pk}/", headers={"Authorization": f"Token {key}"})
        assert answer.status_code == status
        if status == 200:
            assert b"".join(answer.streaming_content) == b"%PDF-1.4 a sheet"


def test_tables_and_what_became_of_files(organisation, amara, nadia, idris, otto, reads):
    upload = one_of_each(organisation, nadia, idris, 1)
    names = {table["name"] for table in reads("tables/")}
    assert {"fleet", "series", "spot_tests", "units"} <= names
    series = next(table for table in reads("tables/") if table["name"] == "series")
    assert {column["name"]: column["unit"] for column in series["columns"]}["flow_l_min"] == "l/min"
    assert reads("uploads/")["results"][0]["id"] == str(upload.pk)
    assert reads(f"uploads/{upload.pk}/")["by"] == "nadia"
    assert reads(f"uploads/{upload.pk}/faults/")["results"][0]["sentence"] == "No."
    reads(f"uploads/{upload.pk}/", status=404, person=otto)
    reads(f"uploads/{upload.pk}/faults/", status=404, person=otto)
    for address in ("tables/", "uploads/", f"uploads/{upload.pk}/faults/"):
        reads(address, status=403, person=idris)
    assert Upload.objects.count() == 1


def test_ones_own_tokens_are_listed_and_revoked_and_nobody_elses(nadia, idris, api_of, reads, client):
    token, key = make_token(person=nadia, name="logger")
    (row,) = reads("me/tokens/")["results"]
    assert row["name"] == "logger" and not {"hash", "key"} & row.keys()
    assert api_of(idris).delete(f"{ROOT}me/tokens/{token.pk}/").status_code == 404
    assert api_of(nadia).delete(f"{ROOT}me/tokens/{token.pk}/").status_code == 204
    assert client.get(f"{ROOT}me/", headers={"Authorization": f"Token {key}"}).status_code == 401
    assert reads("me/tokens/")["results"] == []


def test_who_changed_what_is_the_administrators(one, nadia, amara, otto, reads, api_of):
    api_of(nadia).patch(f"{ROOT}units/{one.unit_id}/", {"batch": "B9"}, format="json")
    row = reads(f"changes/?row_id={one.unit_id}&table=registry_unit", person=amara)["results"][0]
    assert (row["person"], row["before"], row["after"]) == ("nadia", {"batch": "A1"}, {"batch": "B9"})
    assert row["lines"][0]["was"] == "A1" and row["lines"][0]["now"] == "B9" and row["what"]
    assert "/api/v1/units/" in row["via"]
    reads("changes/", status=403)
    assert reads("organisation/", person=amara)["name"] == amara.organisation.name
    reads("organisation/", status=403)
    keep_unit(by=None, unit=one.unit, batch="C")  # the house's own change belongs to nobody's list
    assert len(reads("changes/?table=registry_unit", person=amara)["results"]) == 1


def test_figures_of_inspections_and_of_restoration(one, wanja, nadia, idris, reads):
    found = reads("figures/inspections/?first=2026-01-01&last=2026-12-31", person=wanja)
    assert found["due"] == 0 and found["share"] is None
    short = a_shortfall(one, state="closed", ending="repaired", since=date(2026, 2, 1), flagged_on=date(2026, 2, 8),
                        closed_on=date(2026, 2, 20))  # fmt: skip
    found = reads("figures/restoration/?first=2026-01-01&last=2026-12-31", person=wanja)
    assert (found["cases"], found["detection_days"], found["total_days"]) == (1, 7, 19)
    reads("figures/restoration/", status=403, person=idris)
    assert reads(f"shortfalls/{short.pk}/", person=nadia)["ending"] == "repaired"
