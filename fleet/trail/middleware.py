"""Tells the trail who is behind a request that may change something."""

from fleet.trail.watch import acting


class TrailMiddleware:
    """Only requests that may write are framed, so reading a page costs no extra query."""

    def __init__(self, get_response):
        self.get_response = get_response

    def __call__(self, request):
        if request.method in {"GET", "HEAD", "OPTIONS"} or not request.user.is_authenticated:
            return self.get_response(request)
        with acting(request.user, f"{request.method} {request.path}"):
            return self.get_response(request)
