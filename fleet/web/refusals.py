"""A refusal: a rule said no. It carries a code, a sentence with a way out, and the field it concerns."""


class Refused(Exception):
    """Raised by services; pages put it on the form, the API answers 409 (403 or 404 where that is what it
    means) with code, field and sentence."""

    def __init__(self, code, sentence, field=None):
        super().__init__(sentence)
        self.code = code
        self.sentence = sentence
        self.field = field

    def __str__(self):
        return str(self.sentence)
