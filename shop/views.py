"""Signing in and out, the scheme, the way home, and how a page answers trouble."""

from collections.abc import Callable
from functools import wraps
from typing import Any, Concatenate, ParamSpec

from django.contrib.auth.decorators import login_required
from django.contrib.auth.views import LoginView, LogoutView
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from shop.access import Actor, Denied, NotThere, asker
from shop.context import PLACES
from shop.models import User

P = ParamSpec("P")
Page = Callable[Concatenate[HttpRequest, P], HttpResponse]


def for_actor(
    view: Callable[Concatenate[HttpRequest, Actor, P], HttpResponse],
) -> Callable[Concatenate[HttpRequest, P], HttpResponse]:
    """A page for a signed-in person: gives the view its actor; the gates' answers become 403 and 404."""

    @login_required
    @wraps(view)
    def page(request: HttpRequest, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        try:
            return view(request, asker(request), *args, **kwargs)
        except NotThere:
            raise Http404 from None
        except Denied as trouble:
            raise PermissionDenied(str(trouble)) from None

    return page  # type: ignore[return-value]


class SignIn(LoginView):
    template_name = "shop/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    http_method_names = ["post", "options"]


@login_required
def home(request: HttpRequest) -> HttpResponse:
    """To the first place that this person has."""
    user = request.user
    assert isinstance(user, User)
    for key, _label, right in PLACES:
        if not right or user.may(right):
            return redirect(key)
    raise Http404


@require_POST
def choose_scheme(request: HttpRequest) -> HttpResponse:
    """Remember paper or blueprint in a cookie that the page's script may read, and go back."""
    back = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = "/"
    answer = redirect(back)
    scheme = request.POST.get("scheme", "")
    if scheme in {"paper", "blueprint"}:
        answer.set_cookie("layshaft_scheme", scheme, max_age=365 * 24 * 3600, samesite="Lax")
    return answer


def locked_out(request: HttpRequest, response: Any = None, credentials: Any = None, *_: Any) -> HttpResponse:
    """Too many wrong tries for this name from this address."""
    answer = render(request, "429.html", status=429)
    answer.headers["Retry-After"] = "900"
    return answer


def forbidden(request: HttpRequest, exception: Exception | None = None) -> HttpResponse:
    return render(request, "403.html", {"why": str(exception or "")}, status=403)
