"""Shows pages in the person's own language."""

from django.utils import translation


class PersonMiddleware:
    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        language = getattr(request.user, "language", "") if request.user.is_authenticated else ""
        if language:
            translation.activate(language)
            request.LANGUAGE_CODE = language
        return self.get_response(request)
