"""Organisations and people for tests."""

from itertools import count

from fleet.people.models import Organisation, Person

PASSWORD = "rope-holds-the-pump"
_numbers = count(1)


def an_organisation(**changes):
    """A water organisation of its own; each call another one."""
    return Organisation.objects.create(**{"name": f"Water users {next(_numbers)}", "country": "KE"} | changes)


def a_person(organisation=None, role="technician", **changes):
    """Someone with an account and a password that is known here."""
    number = next(_numbers)
    known = {"username": f"person{number}", "first_name": "Person", "last_name": str(number), "role": role}
    known["organisation"] = organisation or an_organisation()
    known["password"] = PASSWORD
    return Person.objects.create_user(**known | changes)
