"""Every answer under /api that is an error: a problem document (RFC 9457), from one table."""

import json
from collections.abc import Iterable
from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse
from ninja import NinjaAPI
from ninja.errors import AuthenticationError, HttpError, ValidationError

from shop.access import Denied, NotThere
from shop.handbook.working import OutOfRange
from shop.refusals import Refusal


def problem(
    status: int, title: str, detail: str = "", errors: Iterable[tuple[str, str]] = ()
) -> HttpResponse:
    """The answer: application/problem+json with type, title, status, detail and errors by field."""
    body: dict[str, Any] = {"type": "about:blank", "title": title, "status": status}
    if detail:
        body["detail"] = detail
    rows = [{"field": field, "message": message} for field, message in errors]
    if rows:
        body["errors"] = rows
    return HttpResponse(
        json.dumps(body, ensure_ascii=False), status=status, content_type="application/problem+json"
    )


def _fields(trouble: ValidationError) -> list[tuple[str, str]]:
    rows = []
    for one in trouble.errors:
        where = [str(part) for part in one["loc"]]
        # Only what the framework puts in front goes: a field of the body may be called "form" itself.
        for wrapping in ({"body", "query", "path", "form", "header", "file"}, {"payload", "data"}):
            if where and where[0] in wrapping:
                where = where[1:]
        rows.append((".".join(where), str(one["msg"])))
    return rows


def add_handlers(api: NinjaAPI) -> None:
    """Teach the API which exception becomes which problem."""

    @api.exception_handler(Refusal)
    def refusal(request: HttpRequest, trouble: Refusal) -> HttpResponse:
        rows = [(field, message) for field, message in trouble.errors.items() if field]
        return problem(trouble.status, "Refused", trouble.message, rows)

    @api.exception_handler(OutOfRange)
    def out_of_range(request: HttpRequest, trouble: OutOfRange) -> HttpResponse:
        return problem(422, "Outside the valid range", str(trouble), [(trouble.argument, str(trouble))])

    @api.exception_handler(Denied)
    def denied(request: HttpRequest, trouble: Denied) -> HttpResponse:
        return problem(403, "Not allowed", str(trouble))

    @api.exception_handler(NotThere)
    @api.exception_handler(Http404)
    def not_there(request: HttpRequest, trouble: Exception) -> HttpResponse:
        return problem(404, "Not found", "There is no such thing, or it is not yours to see.")

    @api.exception_handler(AuthenticationError)
    def who(request: HttpRequest, trouble: AuthenticationError) -> HttpResponse:
        answer = problem(401, "Sign in", "Send a valid token, or sign in. A revoked token is not valid.")
        answer.headers["WWW-Authenticate"] = "Bearer"
        return answer

    @api.exception_handler(ValidationError)
    def fields(request: HttpRequest, trouble: ValidationError) -> HttpResponse:
        return problem(422, "Refused", "Some fields cannot be used.", _fields(trouble))

    @api.exception_handler(RequestDataTooBig)
    def too_big(request: HttpRequest, trouble: RequestDataTooBig) -> HttpResponse:
        return problem(413, "Too large", "The body is larger than this door takes.")

    @api.exception_handler(HttpError)
    def other(request: HttpRequest, trouble: HttpError) -> HttpResponse:
        return problem(trouble.status_code, "Refused", str(trouble))
