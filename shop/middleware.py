"""What every answer passes through: the trusted proxy, private answers, and problems under /api."""

from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase

from shop.problems import problem

Answer = Callable[[HttpRequest], HttpResponseBase]


class TrustedProxy:
    """Believes X-Forwarded headers from the one named proxy only; drops them from anybody else."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        near = request.META.get("REMOTE_ADDR", "")
        seen = request.META.pop("HTTP_X_FORWARDED_FOR", "")
        scheme = request.META.pop("HTTP_X_FORWARDED_PROTO", "")
        for name in ("HTTP_X_FORWARDED_HOST", "HTTP_X_FORWARDED_PORT", "HTTP_FORWARDED"):
            request.META.pop(name, None)
        if settings.PROXY and near in {one.strip() for one in settings.PROXY.split(",")}:
            if seen:
                request.META["REMOTE_ADDR"] = seen.split(",")[-1].strip()
            if scheme == "https":
                request.META["wsgi.url_scheme"] = "https"
                request.environ["wsgi.url_scheme"] = "https"  # type: ignore[attr-defined]
        return self.get_response(request)


class PrivateAnswers:
    """Nothing that a signed-in person sees stays in a cache."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        if not request.path.startswith(settings.STATIC_URL):
            response.headers.setdefault("Cache-Control", "no-store")
        response.headers.setdefault("Permissions-Policy", "geolocation=(), microphone=(), payment=()")
        return response


TITLES = {
    400: "The request cannot be read",
    403: "Not allowed",
    404: "Not found",
    405: "Method not allowed",
    413: "Too large",
}


class ApiProblems:
    """Answers under /api that are errors and no problem documents yet (the framework's own) become such."""

    def __init__(self, get_response: Answer) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self.get_response(request)
        kind = response.headers.get("Content-Type", "")
        if request.path.startswith("/api") and response.status_code >= 400 and "problem+json" not in kind:
            allow = response.headers.get("Allow")
            mended: HttpResponse = problem(response.status_code, TITLES.get(response.status_code, "Error"))
            if allow:
                mended.headers["Allow"] = allow
            return mended
        return response
