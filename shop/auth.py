"""How a caller of the API says who it is: a bearer token, or the browser's session with its CSRF token."""

from typing import Any

from django.http import HttpRequest
from ninja.security import HttpBearer, SessionAuth

from shop.access import user_of_token


class BearerToken(HttpBearer):
    def authenticate(self, request: HttpRequest, token: str) -> Any | None:
        return user_of_token(token)


class SessionWithCsrf(SessionAuth):
    def __init__(self) -> None:
        super().__init__(csrf=True)

    def authenticate(self, request: HttpRequest, key: str | None) -> Any | None:
        user = request.user
        return user if user.is_authenticated and user.is_active else None
