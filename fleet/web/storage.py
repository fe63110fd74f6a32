"""Where files are kept: a folder. A disk that is full, or that may not be written to, is a refusal and no breakdown."""

import contextlib
import logging
from pathlib import Path

from django.core.files.storage import FileSystemStorage
from django.utils.translation import gettext as _

from fleet.web.refusals import Refused

log = logging.getLogger(__name__)


class NoRoom(Refused):
    """The file is in order; the place for it is not. The same file can be sent again."""

    def __init__(self):
        super().__init__(
            "no_room",
            _(
                "The file could not be kept: the disk for files is full or may not be written to. Nothing else of what "
                "you entered is lost. Tell whoever keeps this installation, then send it again."
            ),
        )


class KeptFiles(FileSystemStorage):
    """Files under MEDIA_ROOT."""

    def _save(self, name, content):
        try:
            return super()._save(name, content)
        except OSError as error:
            log.exception("A file could not be kept in %s.", self.location)
            # What was written of it before the disk was full would stay, under a name that no row knows.
            with contextlib.suppress(OSError):
                Path(self.path(name)).unlink(missing_ok=True)
            raise NoRoom from error
