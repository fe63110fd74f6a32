"""Procedures, rules, trips, bases, telephones, photos and the register by the API: changed as on their pages."""

import io
import uuid
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from fleet.registry.models import Installation
from fleet.visits import services
from fleet.visits.models import Base, InspectionRule, Photo, Procedure, Trip
from fleet.visits.models.field import FieldDevice
from tests.makers.registry import a_unit, a_well, an_installation
from tests.makers.visits import a_visit_under_way, an_assigned_visit

ROOT = "/api/v1/"


@pytest.fixture
def calls(api_of):
    """`calls(nadia, "post", "bases/", {…})` is (status, body)."""

    def call(person, verb, address, body=None, form="json"):
        answer = getattr(api_of(person), verb)(ROOT + address, body, format=form)
        return answer.status_code, answer.json() if answer.content else None

    return call


def fault(answer):
    status, body = answer
    return status, body["errors"][0]["code"], body["errors"][0]["field"]


# -- procedures and rules ----------------------------------------------------------------------------------------------


def test_a_procedure_changed_by_a_program_is_a_new_version_and_the_old_one_comes_back(calls, amara, organisation):
    first = services.procedure_for(organisation, "inspection")
    status, made = calls(amara, "put", f"procedures/{first.pk}/", {"title": "Short", "steps": first.steps[:3]})
    assert (status, made["version"], made["in_use"], len(made["steps"])) == (201, 2, True, 3)
    status, back = calls(amara, "post", f"procedures/{first.pk}/bring-back/")
    assert (status, back["version"], back["in_use"]) == (200, 1, True)
    assert Procedure.objects.get(organisation=organisation, kind="inspection", in_use=True) == first


def test_a_procedure_that_cannot_be_used_is_refused_with_its_faults(calls, amara, organisation):
    first = services.procedure_for(organisation, "inspection")
    for steps in ([], [{"code": "a"}], [{"code": "a", "title": "A", "cautions": [["DC"]]}]):
        answer = calls(amara, "put", f"procedures/{first.pk}/", {"title": "Short", "steps": steps})
        assert fault(answer) == (409, "procedure_not_whole", "steps") and answer[1]["errors"][0]["sentence"]
    assert fault(calls(amara, "put", f"procedures/{first.pk}/", {"title": "Short", "steps": "none"}))[0] == 400
    assert Procedure.objects.filter(organisation=organisation, kind="inspection").count() == 1


def test_a_rule_is_made_changed_and_switched_off(calls, amara):
    body = {"name": "Quarterly", "basis": "months", "amount": 3, "active": True}
    status, made = calls(amara, "post", "inspection-rules/", body)
    assert status == 201
    status, changed = calls(amara, "patch", f"inspection-rules/{made['id']}/", {"active": False})
    assert (status, changed["active"], changed["amount"]) == (200, False, 3)
    assert fault(calls(amara, "patch", f"inspection-rules/{made['id']}/", {"amount": 0})) == (
        409, "out_of_range", "amount",
    )  # fmt: skip
    assert fault(calls(amara, "post", "inspection-rules/", body | {"basis": "moons"}))[::2] == (400, "basis")


def test_only_an_administrator_changes_procedures_and_rules_and_only_their_own(calls, organisation, nadia, idris, otto):
    services.set_up(organisation)
    procedure, rule = organisation.procedures.first(), organisation.inspection_rules.first()
    for person, refused in ((nadia, 403), (idris, 403), (otto, 403)):
        body = {"title": "Mine", "steps": procedure.steps}
        assert calls(person, "put", f"procedures/{procedure.pk}/", body)[0] == refused
        assert calls(person, "post", f"procedures/{procedure.pk}/bring-back/")[0] == refused
        assert calls(person, "patch", f"inspection-rules/{rule.pk}/", {"active": False})[0] == refused
    assert calls(otto, "get", f"inspection-rules/{rule.pk}/")[0] == 404
    assert InspectionRule.objects.get(pk=rule.pk).active == rule.active


# -- trips and bases ---------------------------------------------------------------------------------------------------


def test_a_days_visits_are_put_in_the_shortest_order_and_moved_by_hand(calls, nadia, idris, organisation):
    visits = [an_assigned_visit(an_installation(organisation), idris) for _n in range(3)]
    trip = Trip.objects.get()
    status, planned = calls(nadia, "post", f"trips/{trip.pk}/order/")
    assert status == 200 and set(planned["visits"]) == {str(v.key) for v in visits} and planned["planned_km"] > 0
    last = planned["visits"][-1]
    status, moved = calls(nadia, "post", f"trips/{trip.pk}/move/", {"visit": last, "way": "up"})
    assert status == 200 and moved["visits"][1] == last
    assert calls(nadia, "post", f"trips/{trip.pk}/move/", {"visit": str(uuid.uuid4()), "way": "up"})[0] == 404
    assert calls(idris, "post", f"trips/{trip.pk}/order/")[0] == 403


def test_a_technician_notes_the_kilometres_of_their_own_trip_and_sees_no_other(calls, nadia, idris, organisation, otto):
    an_assigned_visit(an_installation(organisation), idris)
    an_assigned_visit(an_installation(organisation), nadia)
    own, other = Trip.objects.get(technician=idris), Trip.objects.get(technician=nadia)
    assert calls(idris, "patch", f"trips/{own.pk}/", {"km": 84})[1]["km"] == 84
    status, noted = calls(idris, "patch", f"trips/{own.pk}/", {"notes": "two punctures"})
    assert (status, noted["km"], noted["notes"]) == (200, 84, "two punctures")
    assert fault(calls(idris, "patch", f"trips/{own.pk}/", {"km": -1}))[::2] == (400, "km")
    assert calls(idris, "patch", f"trips/{other.pk}/", {"km": 1})[0] == 404
    assert [row["id"] for row in calls(idris, "get", "trips/")[1]["results"]] == [own.pk]
    assert calls(otto, "patch", f"trips/{own.pk}/", {"km": 1})[0] == 404


def test_a_base_is_added_once_and_on_the_globe(calls, nadia, idris):
    body = {"name": "Yard", "latitude_deg": 3.1, "longitude_deg": 35.6}
    assert calls(nadia, "post", "bases/", body)[0] == 201
    assert calls(nadia, "post", "bases/", body)[0] in {400, 409}
    assert fault(calls(nadia, "post", "bases/", body | {"latitude_deg": 135}))[::2] == (400, "latitude_deg")
    assert calls(idris, "post", "bases/", body | {"name": "Mine"})[0] == 403
    assert Base.objects.count() == 1


def test_a_lost_telephone_is_shut_out_and_let_in_again(calls, nadia, idris, otto):
    phone = FieldDevice.objects.create(key=uuid.uuid4(), person=idris, name="Idris's", token_hash="h")
    status, shown = calls(idris, "post", f"telephones/{phone.pk}/shut-out/")
    assert status == 200 and shown["shut_out_by"] == "idris"
    assert calls(idris, "post", f"telephones/{phone.pk}/let-in/")[0] == 403
    assert calls(nadia, "post", f"telephones/{phone.pk}/let-in/")[1]["shut_out_at"] is None
    assert calls(otto, "post", f"telephones/{phone.pk}/shut-out/")[0] == 404


# -- photos and the register -------------------------------------------------------------------------------------------


def a_photo(name="well.jpg"):
    out = io.BytesIO()
    Image.effect_noise((60, 40), 60).convert("RGB").save(out, "JPEG")
    return SimpleUploadedFile(name, out.getvalue(), "image/jpeg")


def test_a_photo_of_a_visit_is_kept_once_and_what_is_none_is_refused(calls, idris, nadia, otto, organisation, settings):
    visit = a_visit_under_way(an_installation(organisation), idris)
    address, key = f"visits/{visit.key}/photos/", str(uuid.uuid4())
    for _twice in range(2):
        status, made = calls(idris, "post", address, {"photo": a_photo(), "key": key, "caption": "head"}, "multipart")
        assert (status, made["key"], made["caption"]) == (201, key, "head")
    assert Photo.objects.count() == 1
    assert calls(idris, "get", f"visits/{visit.key}/")[1]["photos"] == [made["address"]]
    text = SimpleUploadedFile("well.jpg", b"no picture at all", "image/jpeg")
    assert fault(calls(idris, "post", address, {"photo": text}, "multipart")) == (409, "not_an_image", "photo")
    assert fault(calls(idris, "post", address, {}, "multipart"))[::2] == (400, "photo")
    assert calls(otto, "post", address, {"photo": a_photo()}, "multipart")[0] == 404


def test_a_photo_that_is_too_large_is_refused_before_it_is_read(monkeypatch, idris):
    from fleet.visits.services import photos
    from fleet.web.refusals import Refused

    class Huge:
        size = photos.MOST_BYTES + 1

        def read(self):
            pytest.fail("it was read into memory")

    with pytest.raises(Refused, match="25 MB"):
        services.photo_bytes(Huge())


def test_what_a_visit_changed_is_told_and_entered(calls, idris, otto, organisation):
    services.set_up(organisation)
    visit = a_visit_under_way(an_installation(organisation), idris, "repair")
    address = f"visits/{visit.key}/register/"
    assert calls(idris, "get", address)[1]["kind"] == ""
    at = (timezone.now() - timedelta(minutes=30)).isoformat()
    assert fault(calls(idris, "post", address, {"at": at, "why": "worn"}))[:2] == (409, "nothing_owed")
    store = a_unit(organisation)
    services.use_part(visit=visit, part_type="pump", by=idris, serial_out=visit.installation.unit.serial,
                      serial_in=store.serial)  # fmt: skip
    owed = calls(idris, "get", address)[1]
    assert (owed["kind"], owed["unit"], owed["other"]) == ("exchange", visit.installation.unit.serial, store.serial)
    assert fault(calls(idris, "post", address, {"at": at[:19], "why": "worn"})) == (400, "naive", "at")
    wrong = {"at": at, "why": "worn", "setting_depth_m": 30}
    assert fault(calls(idris, "post", address, wrong))[:2] == (409, "no_move")
    assert calls(otto, "post", address, {"at": at, "why": "worn"})[0] == 404
    status, done = calls(idris, "post", address, {"at": at, "why": "worn", "scrapped": True})
    made = Installation.objects.hanging().get(unit=store)
    assert (status, done["installation"]) == (200, made.pk)
    visit.installation.unit.refresh_from_db()
    assert visit.installation.unit.status == "retired"


def test_a_moved_pump_needs_a_well_that_there_is(calls, idris, organisation):
    visit = a_visit_under_way(an_installation(organisation), idris, "relocation")
    address, well = f"visits/{visit.key}/register/", a_well(organisation=organisation)
    body = {"at": (timezone.now() - timedelta(minutes=30)).isoformat(), "why": "agreed"}
    assert fault(calls(idris, "post", address, body)) == (409, "say_where", "well")
    assert fault(calls(idris, "post", address, body | {"site": "S-none"})) == (409, "no_such_well", "site")
    status, done = calls(idris, "post", address, body | {"site": well.site.code, "setting_depth_m": 31})
    assert status == 200 and Installation.objects.get(pk=done["installation"]).setting_depth_m == 31
