"""The first organisation of a new machine, made by a command."""

import re

import pytest
from django.core.management import CommandError, call_command

from fleet.people.models import Organisation, Person

pytestmark = pytest.mark.django_db


def test_an_organisation_opens_with_an_administrator_who_can_log_in(capsys, client):
    call_command("make_organisation", "Dry Hills Water", country="ke", administrator="amara", first_name="Amara")
    password = re.search(r"password: (\S+)", capsys.readouterr().out).group(1)
    amara = Person.objects.get(username="amara")
    assert (amara.organisation.name, amara.organisation.country, amara.role) == (
        "Dry Hills Water", "KE", "administrator",
    )  # fmt: skip
    assert amara.check_password(password)


def test_a_name_that_is_taken_is_refused_and_nothing_is_made(organisation):
    with pytest.raises(CommandError, match="name"):
        call_command("make_organisation", organisation.name, administrator="somebody")
    assert not Person.objects.filter(username="somebody").exists()


def test_a_log_in_name_that_is_taken_leaves_no_organisation_behind(nadia):
    with pytest.raises(CommandError, match="username"):
        call_command("make_organisation", "Dry Hills Water", administrator="nadia")
    assert not Organisation.objects.filter(name="Dry Hills Water").exists()
