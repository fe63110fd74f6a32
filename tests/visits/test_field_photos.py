"""A photo from a telephone on a server without room for it waits on the server, and is kept when there is room."""

import uuid

import pytest

from fleet.visits import services
from fleet.visits.models import FieldPiece, Photo, PhotoChunk
from fleet.web.storage import KeptFiles, NoRoom
from tests.makers.field_pieces import a_piece, an_image, send_photo

pytestmark = pytest.mark.django_db


def test_a_photo_waits_while_the_servers_disk_is_full(send, visit, api_of, idris, monkeypatch):
    def full(self, name, content):
        raise NoRoom

    data, key = an_image(), uuid.uuid4()
    api = api_of(idris)
    send_photo(api, key, data, send.device)
    with monkeypatch.context() as patch:
        patch.setattr(KeptFiles, "_save", full)
        outcome = send([a_piece(visit, "photo", 12, key, size=len(data), step="look")])[0]
        assert (outcome["state"], outcome["code"]) == ("held", "no_room")
        assert PhotoChunk.objects.filter(photo_key=key).exists()
    services.put_together(visit.pk)
    assert Photo.objects.get(key=key).visit == visit
    assert FieldPiece.objects.get(key=key).state == "kept"
    assert not PhotoChunk.objects.exists()
