"""What every page knows: the places of the shop that this person may enter."""

from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse

PLACES = (
    ("counter", "Counter", "see_tickets"),
    ("bench", "Bench", "see_tickets"),
    ("stores", "Stores", "see_stock"),
    ("office", "Office", "see_office"),
    ("handbook", "Handbook", ""),
)


def places(request: HttpRequest) -> dict[str, Any]:
    user = getattr(request, "user", None)
    if user is None or not user.is_authenticated:
        return {"places": [], "shop_name": settings.SHOP_NAME}
    here = request.path.strip("/").split("/")[0]
    rows = [
        {"key": key, "label": label, "url": reverse(key), "current": key == here}
        for key, label, right in PLACES
        if not right or user.may(right)
    ]
    finds = user.may("see_tickets") or user.may("see_stock")
    return {"places": rows, "shop_name": settings.SHOP_NAME, "place": here, "finds_tags": finds}
