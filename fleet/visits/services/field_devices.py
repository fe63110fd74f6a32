"""Telephones: each signs in with a key of its own, so that one of them can be shut out and the others go on."""

import hashlib
import secrets

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed

from fleet.people.access import may, require
from fleet.people.models import Person
from fleet.visits.models import FieldDevice
from fleet.web import plain_sql
from fleet.web.refusals import Refused

MOST_DEVICES = 10
# Asked with every request of every telephone, so it is written once and not worked out each time.
SIGNED_IN = f"""
SELECT {plain_sql.columns(FieldDevice, "d")}, {plain_sql.columns(Person, "p")}
FROM visits_fielddevice d JOIN people_person p ON p.id = d.person_id WHERE d.token_hash = %s AND d.token_hash <> ''
"""  # noqa: S608 - the names of our own columns


def _hash(key):
    return hashlib.sha256(key.encode()).hexdigest()


@transaction.atomic
def register(*, person, key, name="", app=""):
    """This telephone works for this person from now on. Returns (device, its sign-in key), which is shown once.

    Again with the same telephone gives it a new key; the old one is void. A telephone that was shut out stays out.
    """
    require(person, "log")
    device = FieldDevice.objects.select_for_update().filter(key=key).first()
    if device is None and person.field_devices.let_in().count() >= MOST_DEVICES:
        raise Refused("too_many_devices", _("You have ten telephones here already. Shut one out first."))
    if device is None:
        device = FieldDevice(key=key, person=person)
    if device.shut_out_at is not None:
        sentence = _("This telephone was shut out. The coordinator can let it in again; what it holds stays on it.")
        raise Refused("shut_out", sentence)
    token = "rmf_" + secrets.token_urlsafe(32)
    device.person, device.token_hash, device.name = person, _hash(token), name[:120] or device.name
    device.app_version, device.last_seen_at = app[:40], timezone.now()
    device.save()
    return device, token


def _of_token(token):
    """The telephone that signs in with this key, with its person; or None."""
    with plain_sql.server_cursor() as cursor:
        row = cursor.execute(SIGNED_IN, [_hash(token)]).fetchone()
    if row is None:
        return None
    mine = plain_sql.names(FieldDevice)
    device = FieldDevice.from_db("default", mine, row[: len(mine)])
    device.person = Person.from_db("default", plain_sql.names(Person), row[len(mine) :])
    return device


class DeviceAuthentication(BaseAuthentication):
    """`Authorization: Telephone KEY`. Gives the person and, as `request.auth`, the telephone."""

    def authenticate(self, request):
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"telephone":
            return None
        try:
            token = words[1].decode() if len(words) == 2 else ""
        except UnicodeError:
            token = ""
        device = _of_token(token)
        if device is None:
            raise AuthenticationFailed(_("This telephone is not known here. Log in again."), code="unknown_device")
        if device.shut_out_at is not None:
            raise AuthenticationFailed(_("This telephone was shut out."), code="shut_out")
        if not may(device.person, "log"):
            raise AuthenticationFailed(_("This account does not log visits any more."), code="not_allowed")
        return device.person, device

    def authenticate_header(self, request):
        return "Telephone"
