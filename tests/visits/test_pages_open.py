"""Who may open which page of the visits, and the pages by which an administrator changes procedures and rules."""

import pytest

from fleet.visits import services
from tests.makers.people import a_person
from tests.makers.visits import a_call, a_visit_under_way, an_assigned_visit
from tests.visits.pages import address, said


def test_an_administrator_changes_a_procedure_on_the_page(client_of, amara, nadia, organisation):
    procedure = services.procedure_for(organisation, "retirement")
    page = client_of(amara).get(address("change_procedure", procedure.pk))
    assert page.status_code == 200
    data = {"title": "Retirement", "new-title": "Call the bank", "new-place": "1.5"}
    for i, step in enumerate(procedure.steps):
        data |= {f"s{i}-title": step["title"], f"s{i}-text": step["text"], f"s{i}-place": i + 1, f"s{i}-needed": "1"}
        data[f"s{i}-cautions"] = step["cautions"]
    data["s3-gone"] = "1"
    answer = client_of(amara).post(address("change_procedure", procedure.pk), data)
    assert answer.status_code == 302
    steps = services.procedure_for(organisation, "retirement").steps
    assert [s["title"] for s in steps[:2]] == ["Decision", "Call the bank"]
    assert len(steps) == len(procedure.steps)
    assert client_of(nadia).post(address("change_procedure", procedure.pk), data).status_code == 403
    assert client_of(nadia).get(address("procedure", procedure.pk)).status_code == 200


def test_rules_have_their_page(client_of, amara, nadia, organisation):
    assert client_of(amara).get(address("rules")).status_code == 200
    known = {"name": "Yearly", "basis": "months", "amount": "12", "active": "on"}
    assert client_of(amara).post(address("add_rule"), known).status_code == 302
    assert client_of(amara).post(address("add_rule"), known | {"amount": "-1"}).status_code == 422
    assert client_of(nadia).get(address("add_rule")).status_code == 403


PAGES = ["list", "propose", "calls", "take_call", "trips", "procedures", "rules", "bases"]
OPEN_TO = {  # page -> roles that may open it
    "list": {"nadia", "idris", "wanja", "amara"}, "propose": {"nadia", "amara"},
    "calls": {"nadia", "idris", "wanja", "amara"},
    "take_call": {"nadia", "idris", "amara"}, "trips": {"nadia", "idris", "wanja", "amara"},
    "procedures": {"nadia", "idris", "wanja", "amara"}, "rules": {"nadia", "idris", "wanja", "amara"},
    "bases": {"nadia", "amara"},
}  # fmt: skip


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("who", ["nadia", "idris", "wanja", "amara"])
def test_each_page_opens_for_whom_it_is(page, who, request, client_of):
    answer = client_of(request.getfixturevalue(who)).get(address(page))
    assert answer.status_code == (200 if who in OPEN_TO[page] else 403)


def test_a_stranger_is_asked_to_log_in(client, organisation):
    for page in PAGES:
        assert client.get(address(page)).status_code == 302


def test_otto_finds_nothing_of_ours(client_of, otto, idris, installation):
    visit = an_assigned_visit(installation, idris)
    call = a_call(installation.well.site)
    browser = client_of(otto)
    assert str(visit.key) not in said(browser.get(address("list")))
    for place in (
        address("visit", visit.key), address("assign", visit.key), address("log", visit.key), address("call", call.pk),
        address("trip", visit.trip_id), address("sheet", visit.key), address("procedure", visit.procedure_id),
    ):  # fmt: skip
        assert browser.get(place).status_code == 404, place


def test_another_technician_reads_the_visit_but_not_its_log(client_of, idris, installation):
    visit = a_visit_under_way(installation, idris)
    browser = client_of(a_person(idris.organisation))
    assert browser.get(address("visit", visit.key)).status_code == 200
    assert browser.get(address("step", visit.key, "arrive")).status_code == 404
