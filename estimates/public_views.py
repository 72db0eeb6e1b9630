"""The customer's page of one quote, reached by its signed link alone."""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.http import FileResponse, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from estimates.accepting import accept_quote, decline_quote
from estimates.forms import AnswerForm
from estimates.links import customer_of, quote_of_link
from estimates.models import Quote
from estimates.papers import file_name, paper_of
from estimates.shown import quote_context
from shop import clock
from shop.access import NotThere
from shop.documents import path_of
from shop.refusals import Refusal

P = ParamSpec("P")


def by_link(
    view: Callable[Concatenate[HttpRequest, str, Quote, P], HttpResponseBase],
) -> Callable[Concatenate[HttpRequest, str, P], HttpResponseBase]:
    """Gives the view the quote of its link. A link that does not hold gets a plain page that says nothing.

    The address is the customer's key: no engine may list it and no other site may learn it. Answers without a
    form send no referrer at all; the page with the form sends one to this site only, because a browser that
    sends none also hides where the form came from, and the check against forged forms then refuses it.
    """

    @wraps(view)
    def page(request: HttpRequest, token: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
        try:
            answer = view(request, token, quote_of_link(token), *args, **kwargs)
        except NotThere:
            answer = render(request, "estimates/public_gone.html", status=404)
        answer.headers.setdefault("Referrer-Policy", "no-referrer")
        answer.headers["X-Robots-Tag"] = "noindex, nofollow, noarchive"
        return answer

    return page  # type: ignore[return-value]


def standing_of(quote: Quote) -> str:
    """Where the quote stands, in a sentence for the customer."""
    ended = quote.valid_until is not None and clock.today() > quote.valid_until
    day = f"{clock.local(quote.answered_at):%d %b %Y}" if quote.answered_at else ""
    if quote.state == "accepted":
        return f"Accepted on {day} by {quote.answered_name}."
    if quote.state == "declined":
        return f"Declined on {day} by {quote.answered_name}."
    if ended:
        return f"This quote ended on {quote.valid_until:%d %b %Y}. Ask the shop for a new one."
    if quote.state == "superseded":
        return "A newer quote has taken the place of this one. Use the newest letter."
    return f"It waits for your answer until {quote.valid_until:%d %b %Y}."


@require_http_methods(["GET", "HEAD", "POST"])
@by_link
def public_quote(request: HttpRequest, token: str, quote: Quote) -> HttpResponseBase:
    """Show the quote; take the customer's yes or no."""
    form = AnswerForm(request.POST if request.method == "POST" else None)
    trouble = ""
    if request.method == "POST" and form.is_valid():
        deed = {"accept": accept_quote, "decline": decline_quote}.get(request.POST.get("answer", ""))
        try:
            if deed is None:
                raise Refusal("Press yes or no.")
            deed(quote=quote, by=customer_of(quote), **form.cleaned_data)
        except Refusal as refused:
            quote.refresh_from_db()
            if "name" in refused.errors:
                form.show(refused)
            else:
                trouble = refused.message
            status = refused.status
        else:
            return redirect("public_quote", token)
    else:
        status = 422 if form.errors else 200
    return _page(request, token, quote, form, trouble, status)


def _page(
    request: HttpRequest, token: str, quote: Quote, form: AnswerForm, trouble: str, status: int
) -> HttpResponse:
    open_ = quote.state == "sent" and not (quote.valid_until and clock.today() > quote.valid_until)
    paper = paper_of(quote)
    context = quote_context(quote) | {
        "form": form,
        "open": open_,
        "standing": standing_of(quote),
        "trouble": trouble,
        "paper_url": reverse("public_paper", args=[token]) if paper else "",
    }
    answer = render(request, "estimates/public_quote.html", context, status=status)
    if open_:
        answer.headers["Referrer-Policy"] = "same-origin"
    return answer


@require_GET
@by_link
def public_paper(request: HttpRequest, token: str, quote: Quote) -> HttpResponseBase:
    """The quote's PDF, to keep."""
    paper = paper_of(quote)
    if paper is None:
        raise NotThere
    answer = FileResponse(
        path_of(paper).open("rb"),
        as_attachment=True,
        filename=file_name(quote),
        content_type="application/pdf",
    )
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer
