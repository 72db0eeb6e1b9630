"""A repeatable write: the same key and body gets the first answer, whatever comes twice or at once."""

import hashlib
import json
from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from shop import clock
from shop.access import Actor
from shop.models import Once
from shop.refusals import Refusal


class KeyReused(Refusal):
    """The key was used before for another body."""


def digest(body: Any) -> str:
    text = body if isinstance(body, str) else json.dumps(body, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def once(
    *,
    by: Actor,
    operation: str,
    key: str,
    body: Any,
    rule: Callable[[], Any],
    at: datetime | None = None,
) -> Any:
    """Run ``rule`` in one transaction with its key and return its JSON answer; a repeat gets the first one.

    The key is the transaction's first row: a duplicate at the same moment waits on the index. Only success
    is kept. Raises :class:`KeyReused` (422) for a key with another body.
    """
    if not 1 <= len(key) <= 80:
        raise Refusal(key="A key has 1 to 80 characters.")
    with transaction.atomic():
        try:
            with transaction.atomic():
                row = Once.objects.create(
                    principal=by.key, operation=operation, key=key, digest=digest(body), at=at or clock.now()
                )
        except IntegrityError:
            first = Once.objects.get(principal=by.key, operation=operation, key=key)
            if first.digest != digest(body):
                raise KeyReused(
                    key="This key was used before with another content. Take a new key."
                ) from None
            return first.answer
        row.answer = rule()
        row.save(update_fields=["answer"])
        return row.answer
