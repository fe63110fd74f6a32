"""Accounts: who may do what to whom, and what each may change about themselves."""

import pytest

from fleet.people import services
from fleet.people.access import MAY, may, require
from fleet.people.models import Organisation, Person
from fleet.web.refusals import Refused
from tests.makers.people import PASSWORD, a_person

DEEDS = sorted(set().union(*MAY.values()))
ALLOWED = {  # written out a second time on purpose: a change of rights has to be made knowingly
    "nadia": {"read_fleet", "assign", "log", "edit_registry", "import", "settle", "read_reports", "take_calls"},
    "idris": {"read_fleet", "log", "take_calls", "own_day"},
    "wanja": {"read_fleet", "read_reports", "set_alarms"},
    "amara": set(DEEDS) - {"own_day"},
}


@pytest.mark.parametrize("name", ALLOWED)
def test_each_role_may_do_its_deeds_and_no_others(name, request):
    person = request.getfixturevalue(name)
    assert {deed for deed in DEEDS if may(person, deed)} == ALLOWED[name]


def test_without_organisation_or_with_a_closed_account_one_may_do_nothing(amara, organisation):
    amara.is_active = False
    assert not any(may(amara, deed) for deed in DEEDS)
    amara.is_active, amara.organisation = True, None
    assert not any(may(amara, deed) for deed in DEEDS)


def test_a_service_refuses_by_name_and_lets_the_house_itself_pass(idris):
    with pytest.raises(Refused) as refusal:
        require(idris, "assign")
    assert refusal.value.code == "not_allowed" and "Ask a coordinator" in str(refusal.value)
    require(None, "assign")


NEW = {"username": "zuri", "first_name": "Zuri", "last_name": "Mnyama", "role": "technician"}


def test_amara_adds_someone_who_can_then_log_in(amara, client):
    person, password = services.add_person(by=amara, organisation=amara.organisation, **NEW)
    answer = client.post("/people/log-in/", {"username": "zuri", "password": password})
    assert answer.status_code == 302
    assert person.organisation == amara.organisation and len(password) >= 16


@pytest.mark.parametrize("name", ["nadia", "idris", "wanja", "otto"])
def test_nobody_but_an_administrator_adds_people(name, request, organisation):
    with pytest.raises(Refused, match="role does not allow"):
        services.add_person(by=request.getfixturevalue(name), organisation=organisation, **NEW)
    assert not Person.objects.filter(username="zuri").exists()


def test_an_administrator_adds_people_to_their_own_organisation_only(amara, other_organisation):
    with pytest.raises(Refused, match="own organisation"):
        services.add_person(by=amara, organisation=other_organisation, **NEW)


@pytest.mark.parametrize(
    ("changes", "field"), [({"username": "nadia"}, "username"), ({"username": "two words"}, "username"),
                           ({"role": "emperor"}, "role"), ({"email": "no address"}, "email")],
)  # fmt: skip
def test_a_wrong_entry_is_refused_with_its_field(amara, nadia, changes, field):
    with pytest.raises(Refused) as refusal:
        services.add_person(by=amara, organisation=amara.organisation, **(NEW | changes))
    assert refusal.value.field == field


def test_a_colleague_of_another_organisation_cannot_be_changed(amara, otto):
    with pytest.raises(Refused, match="no such person"):
        services.change_person(by=amara, person=otto, role="manager")
    with pytest.raises(Refused, match="no such person"):
        services.give_new_password(by=amara, person=otto)


def test_closing_an_account_ends_the_log_in_and_revokes_the_tokens(amara, idris, client_of, client):
    browser = client_of(idris)
    _token, key = services.make_token(person=idris, name="phone")
    services.change_person(by=amara, person=idris, is_active=False)
    assert browser.get("/people/me/").status_code == 302
    assert client.get("/api/v1/me/", headers={"Authorization": f"Token {key}"}).status_code == 401
    assert not idris.tokens.valid().exists()


def test_the_last_administrator_stays(amara):
    with pytest.raises(Refused) as refusal:
        services.change_person(by=amara, person=amara, role="manager")
    assert refusal.value.code == "last_administrator"
    other = a_person(amara.organisation, "administrator")
    services.change_person(by=amara, person=amara, role="manager")
    with pytest.raises(Refused, match="last administrator"):
        services.change_person(by=None, person=other, is_active=False)


def test_nobody_closes_their_own_account(amara):
    a_person(amara.organisation, "administrator")
    with pytest.raises(Refused, match="your own account"):
        services.change_person(by=amara, person=amara, is_active=False)


def test_a_new_password_opens_the_account_and_the_old_one_does_not(amara, idris, client_of):
    browser = client_of(idris)
    password = services.give_new_password(by=amara, person=idris)
    idris.refresh_from_db()
    assert idris.check_password(password) and not idris.check_password(PASSWORD)
    assert browser.get("/people/me/").status_code == 302, "an open session must end"


def test_ones_own_password_changes_only_with_the_old_one(idris):
    with pytest.raises(Refused) as refusal:
        services.change_own_password(person=idris, old="wrong", new="brass-couplings-leak")
    assert refusal.value.field == "old"
    with pytest.raises(Refused) as refusal:
        services.change_own_password(person=idris, old=PASSWORD, new="short")
    assert refusal.value.field == "new"
    services.change_own_password(person=idris, old=PASSWORD, new="brass-couplings-leak")
    assert idris.check_password("brass-couplings-leak")


def test_one_cannot_make_oneself_administrator(idris):
    with pytest.raises(TypeError, match="does not change role"):
        services.change_own(person=idris, role="administrator")


def test_the_alarm_setting_belongs_to_managers_and_administrators(wanja, nadia, organisation, other_organisation):
    services.set_false_alarms(by=wanja, organisation=organisation, per_100_unit_years=12)
    assert Organisation.objects.get(pk=organisation.pk).false_alarms_per_100_unit_years == 12
    with pytest.raises(Refused, match="role does not allow"):
        services.set_false_alarms(by=nadia, organisation=organisation, per_100_unit_years=12)
    with pytest.raises(Refused, match="own organisation"):
        services.set_false_alarms(by=wanja, organisation=other_organisation, per_100_unit_years=12)
    with pytest.raises(Refused):
        services.set_false_alarms(by=wanja, organisation=organisation, per_100_unit_years=100_000)
