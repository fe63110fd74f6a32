"""Verbs on accounts, organisations and tokens. Each checks, changes and leaves its trace in one transaction."""

import secrets

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.people.models import Organisation, Person, Token
from fleet.people.tokens import make_token as _make_token
from fleet.web.refusals import Refused

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # without those that are mistaken for one another when read aloud
MOST_TOKENS = 20


def first_password():
    """Four groups of four that can be read over the telephone; some 79 bits."""
    return "-".join("".join(secrets.choice(_LETTERS) for _i in range(4)) for _group in range(4))


def _save(row):
    try:
        row.full_clean()
        with transaction.atomic():
            row.save()
    except ValidationError as fault:
        field, messages = next(iter(fault.message_dict.items()))
        raise Refused("invalid", " ".join(messages), field=None if field == "__all__" else field) from None
    except IntegrityError:
        raise Refused("taken", _("Someone has just taken this name. Choose another."), field="username") from None
    return row


def _own_person(by, person):
    """Administrators look after their own organisation only."""
    if by is not None and person.organisation_id != by.organisation_id:
        raise Refused("not_found", _("There is no such person in your organisation."))


def _keep_one_administrator(person):
    others = Person.objects.filter(
        organisation=person.organisation_id, role=Person.Role.ADMINISTRATOR, is_active=True
    ).exclude(pk=person.pk)
    # Locked, so that two administrators cannot take each other's role away at the same moment.
    if not others.select_for_update().exists():
        raise Refused(
            "last_administrator",
            _("This is the last administrator. Make someone else administrator first."),
            field="role",
        )


@transaction.atomic
def add_person(*, by, organisation, username, first_name="", last_name="", role, phone="", email="", language=""):
    """A new account with a first password, which is returned and cannot be shown again."""
    require(by, "people")
    if by is not None and organisation.pk != by.organisation_id:
        raise Refused("not_allowed", _("You look after your own organisation's people only."))
    password = first_password()
    person = Person(
        organisation=organisation, username=username, first_name=first_name, last_name=last_name, role=role,
        phone=phone, email=email, language=language,
    )  # fmt: skip
    person.set_password(password)
    return _save(person), password


@transaction.atomic
def open_organisation(*, name, country="", username, first_name="", last_name=""):
    """A new organisation with its first administrator; for whoever looks after the machine, hence a command's.

    Returns the administrator and the first password, which cannot be shown again.
    """
    organisation = Organisation(name=name.strip(), country=country.strip().upper())
    try:
        organisation.full_clean()
        organisation.save()
    except ValidationError as fault:
        field, messages = next(iter(fault.message_dict.items()))
        raise Refused("invalid", f"{field}: " + " ".join(messages), field=field) from None
    return add_person(
        by=None, organisation=organisation, username=username, first_name=first_name, last_name=last_name,
        role=Person.Role.ADMINISTRATOR,
    )  # fmt: skip


@transaction.atomic
def change_person(*, by, person, **changes):
    """Names, telephone, role, and whether the account is open."""
    require(by, "people")
    _own_person(by, person)
    person = Person.objects.select_for_update().get(pk=person.pk)
    closes = person.is_active and changes.get("is_active") is False
    steps_down = person.role == Person.Role.ADMINISTRATOR and changes.get("role", person.role) != person.role
    if closes and by is not None and by.pk == person.pk:
        raise Refused("own_account", _("You cannot close your own account."), field="is_active")
    if (closes and person.role == Person.Role.ADMINISTRATOR) or steps_down:
        _keep_one_administrator(person)
    allowed = {"first_name", "last_name", "role", "phone", "email", "language", "is_active"}
    for name, value in changes.items():
        if name not in allowed:
            raise TypeError(f"change_person does not change {name}")
        setattr(person, name, value)
    if closes:
        person.tokens.filter(revoked_at=None).update(revoked_at=timezone.now())
    return _save(person)


@transaction.atomic
def give_new_password(*, by, person):
    """A new first password for someone who lost theirs; their open sessions end."""
    require(by, "people")
    _own_person(by, person)
    password = first_password()
    person.set_password(password)
    person.save(update_fields=["password"])
    return password


@transaction.atomic
def change_own(*, person, **changes):
    """What everyone may change about themselves."""
    allowed = {
        "first_name", "last_name", "phone", "email", "language", "flow_unit", "length_unit", "theme",
    }  # fmt: skip
    for name, value in changes.items():
        if name not in allowed:
            raise TypeError(f"change_own does not change {name}")
        setattr(person, name, value)
    return _save(person)


@transaction.atomic
def change_own_password(*, person, old, new):
    if not person.check_password(old):
        raise Refused("wrong_password", _("This is not your present password."), field="old")
    try:
        validate_password(new, person)
    except ValidationError as fault:
        raise Refused("weak_password", " ".join(fault.messages), field="new") from None
    person.set_password(new)
    person.save(update_fields=["password"])


@transaction.atomic
def make_token(*, person, name):
    """A key for a program that speaks for this person. Returns (token, key); the key is shown once."""
    name = name.strip()
    if not name:
        raise Refused("no_name", _("Say what the token is for, so that you can tell it from others."), field="name")
    if person.tokens.filter(revoked_at=None).count() >= MOST_TOKENS:
        raise Refused(
            "too_many_tokens",
            _("You have %(n)d tokens. Revoke one that is no longer used.") % {"n": MOST_TOKENS},
            field="name",
        )
    return _make_token(person=person, name=name[:80])


@transaction.atomic
def revoke_token(*, by, token):
    """Its owner may revoke it, and whoever looks after the organisation's people."""
    if token.person_id != by.pk:
        require(by, "people")
        _own_person(by, token.person)
    return Token.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=timezone.now())


@transaction.atomic
def change_organisation(*, by, organisation, name, country, need_l_person_day):
    require(by, "people")
    if by is not None and by.organisation_id != organisation.pk:
        raise Refused("not_allowed", _("You look after your own organisation only."))
    organisation.name, organisation.country = name, country.upper()
    organisation.need_l_person_day = need_l_person_day
    return _save(organisation)


@transaction.atomic
def set_false_alarms(*, by, organisation, per_100_unit_years):
    """The one setting of the judgement; what it costs in days to notice is shown where it is set."""
    require(by, "set_alarms")
    if by is not None and by.organisation_id != organisation.pk:
        raise Refused("not_allowed", _("You look after your own organisation only."))
    organisation = Organisation.objects.select_for_update().get(pk=organisation.pk)
    organisation.false_alarms_per_100_unit_years = per_100_unit_years
    return _save(organisation)


def organisation_called(name=None):
    """For commands: the organisation of this name; where none is given, the only one there is."""
    if name:
        found = Organisation.objects.filter(name=name).first()
        if found is None:
            raise Refused("no_such_organisation", _("There is no organisation “%(name)s”. Make it with "
                                                    "make_organisation.") % {"name": name})  # fmt: skip
        return found
    found = list(Organisation.objects.all()[:2])
    if len(found) != 1:
        raise Refused("which_organisation", _("Say for which organisation: --organisation NAME."))
    return found[0]
