"""The shop's addresses and one plain view: it looks up a token, inserts one row, and does nothing else.

The token's person comes with it, as any view needs it; the row goes into the audit, a narrow table of the
shop's. Everything around it (server, middleware, database) is the shop's.
"""

from __future__ import annotations

import hashlib
import json

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import path
from django.views.decorators.csrf import csrf_exempt

from shop import clock
from shop.models import Audit, Token
from shop.urls import urlpatterns as shop_urls


@csrf_exempt
def plain(request: HttpRequest) -> HttpResponse:
    secret = request.headers.get("Authorization", "").removeprefix("Bearer ")
    digest = hashlib.sha256(secret.encode()).hexdigest()
    token = Token.objects.select_related("user").filter(digest=digest, revoked_at__isnull=True).first()
    if token is None or not token.user.is_active:
        return HttpResponse(status=401)
    sent = json.loads(request.body)["readings"][0]
    made = Audit.objects.create(
        at=clock.now(), by=f"user:{token.user.pk}", deed="plain", thing="reading", thing_id=sent["id"]
    )
    return JsonResponse({"counter": made.pk, "results": [{"id": sent["id"], "status": "recorded"}]})


urlpatterns = [path("plain", plain), *shop_urls]
