"""How the API reads a body. Apart from `fleet.web.rest`: the framework loads this while its own views are loading."""

from django.utils.translation import gettext
from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class PlainJSON(JSONParser):
    """JSON; what is nested too deeply to be read is refused like any other fault."""

    def parse(self, stream, media_type=None, parser_context=None):
        try:
            return super().parse(stream, media_type, parser_context)
        except RecursionError:
            raise ParseError(gettext("This is nested too deeply.")) from None
