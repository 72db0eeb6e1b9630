"""Who is asking, and the one gate for each kind of object.

Strangers get 404, colleagues without the right 403.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest

from shop import clock
from shop.models import Ticket, Token, User
from shop.prepared import Prepared, as_model, columns_of


class NotThere(Exception):
    """There is no such thing, or it is none of the asker's business: the answer is the same."""


class Denied(Exception):
    """A colleague without the right."""

    def __init__(self, right: str) -> None:
        self.right = right
        super().__init__("Your role does not include this. Ask the manager.")


@dataclass(frozen=True, slots=True)
class Actor:
    """Who does a deed: a person, a supplier, a customer's signed link, or the program itself.

    ``key`` is what append-only rows keep; it names nobody.
    """

    kind: str  # person, supplier, link, program
    key: str
    user: User | None = None

    def may(self, right: str) -> bool:
        if self.kind == "program":
            return True
        return self.kind == "person" and self.user is not None and self.user.may(right)

    def need(self, right: str) -> None:
        """Raise :class:`Denied` for a colleague without the right, :class:`NotThere` for anybody else."""
        if self.may(right):
            return
        if self.kind == "person":
            raise Denied(right)
        raise NotThere

    @property
    def person(self) -> User:
        """The person, where only a person can act; :class:`NotThere` otherwise."""
        if self.user is None:
            raise NotThere
        return self.user


PROGRAM = Actor("program", "program")


def actor_for(user: User) -> Actor:
    """The actor that a signed-in user is. A supplier's user is a supplier, whatever groups it may be in."""
    supplier = getattr(user, "supplier", None)
    if supplier is not None:
        return Actor("supplier", f"supplier:{supplier.code}", user)
    return Actor("person", f"user:{user.pk}", user)


def asker(request: HttpRequest) -> Actor:
    """The actor of a request whose user was established by the session or by a token."""
    user = getattr(request, "auth", None) or request.user
    if not isinstance(user, User) or not user.is_active:
        raise NotThere
    return actor_for(user)


def ticket_for(by: Actor, number: int, right: str = "see_tickets") -> Ticket:
    """The ticket, if ``by`` may do that with it."""
    by.need("see_tickets")
    ticket = Ticket.objects.for_list().filter(number=number).first()
    if ticket is None:
        raise NotThere
    by.need(right)
    return ticket


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def make_token(*, user: User, label: str, at: datetime | None = None) -> str:
    """Make an API token and return its secret, the only time it can be seen."""
    secret = f"lay_{secrets.token_urlsafe(32)}"
    Token.objects.create(user=user, label=label, digest=_digest(secret), made_at=at or clock.now())
    return secret


_PERSON = [
    one
    for one in columns_of(User)
    if one in {"id", "is_superuser", "username", "is_active", "display_name", "decimal_mark"}
]
_RIGHTS = ("user__groups__name", "user__groups__permissions__codename", "user__user_permissions__codename")
_USER_OF = Prepared(
    lambda digest: (
        Token.objects.filter(digest=digest, revoked_at__isnull=True, user__is_active=True)
        .order_by()
        .values_list(*_RIGHTS, "pk", "last_used_at", "user__supplier", *(f"user__{one}" for one in _PERSON))
    )
)


def user_of_token(secret: str, at: datetime | None = None) -> User | None:
    """The active user whose unrevoked token this is, with all rights; notes when it was used, at most once a
    minute. One statement: a line for each right."""
    lines = _USER_OF.rows(_digest(secret))
    if not lines:
        return None
    pk, used_at, supplier, *columns = lines[0][3:]
    at = at or clock.now()
    if used_at is None or (at - used_at).total_seconds() > 60:
        Token.objects.filter(pk=pk).update(last_used_at=at)
    user = as_model(User, columns, _PERSON)
    user.holds(
        groups={group for group, *_ in lines if group},
        rights={right for line in lines for right in line[1:3] if right},
    )
    if supplier is None:  # known now, and not asked for again
        User._meta.get_field("supplier").set_cached_value(user, None)
    return user
