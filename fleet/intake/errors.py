"""What can be wrong with a file or a cell, said so that it can be mended."""

from fleet.web.refusals import Refused


class Unreadable(ValueError):
    """A cell that does not say what its column wants; carries the sentence that tells how to mend it."""


class WrongFile(Refused):
    """A file that cannot be read at all."""

    def __init__(self, code, sentence):
        super().__init__(code, sentence, field="file")
