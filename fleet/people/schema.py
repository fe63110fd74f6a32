"""Tells the API's own description how programs sign in."""

from drf_spectacular.extensions import OpenApiAuthenticationExtension


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = "fleet.people.tokens.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema):
        return {
            "type": "apiKey", "in": "header", "name": "Authorization",
            "description": "Send `Authorization: Token KEY`; keys are made on the page of one's own account.",
        }  # fmt: skip
