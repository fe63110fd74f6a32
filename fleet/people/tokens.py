"""Programs sign in with `Authorization: Token KEY`."""

import hashlib
import secrets

from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed

from fleet.people.models import Token


def make_token(*, person, name):
    """A new token and its key; the key cannot be shown again."""
    key = "rm_" + secrets.token_urlsafe(32)
    token = Token.objects.create(person=person, name=name, hash=_hash(key), start=key[:8])
    return token, key


def _hash(key):
    return hashlib.sha256(key.encode()).hexdigest()


class TokenAuthentication(BaseAuthentication):
    def authenticate(self, request):
        words = get_authorization_header(request).split()
        if not words or words[0].lower() != b"token":
            return None
        if len(words) != 2:
            raise AuthenticationFailed(_("Send the header as: Authorization: Token KEY."))
        try:
            key = words[1].decode()
        except UnicodeError:
            raise AuthenticationFailed(_("This token is not one of ours.")) from None
        token = Token.objects.select_related("person").filter(hash=_hash(key), revoked_at=None).first()
        if token is None or not token.person.is_active:
            raise AuthenticationFailed(_("This token is unknown or was revoked. Ask for a new one."))
        now = timezone.now()
        # Once an hour is enough to see that it is in use; a write on each request is not.
        if token.last_used_at is None or (now - token.last_used_at).total_seconds() > 3600:
            Token.objects.filter(pk=token.pk).update(last_used_at=now)
        return token.person, token

    def authenticate_header(self, request):
        return "Token"
