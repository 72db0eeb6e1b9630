"""Pages of guides that are read: families, revisions, one revision, its file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_http_methods, require_safe

from inspections.document import read
from inspections.drawings.drawing import check_drawing, unit_drawing
from inspections.guiding import drafting
from inspections.guiding.differences import NOUNS, Difference, differences, told
from inspections.guiding.drafts import DRAWING, HEAD_TABLE
from inspections.guiding.forms import UploadForm
from inspections.guiding.shape import TABLES
from inspections.guiding.tomltext import toml_of
from inspections.models import GuideDraft, GuideRevision
from inventory.shown import people
from shop.access import Actor, NotThere
from shop.forms import add_refusal
from shop.models import Family
from shop.refusals import Refusal
from shop.views import for_actor

READ = "see_office"


def family_for(by: Actor, code: str) -> Family:
    by.need(READ)
    found = Family.objects.filter(code=code).first()
    if found is None:
        raise NotThere
    return found


def revision_for(by: Actor, code: str, number: int) -> GuideRevision:
    family = family_for(by, code)
    found = GuideRevision.objects.filter(family=family, number=number).first() if number < 2**31 else None
    if found is None:
        raise NotThere
    found.family = family
    return found


@dataclass(frozen=True, slots=True)
class Group:
    """A table of a guide as a page lists it."""

    table: str
    one: str
    many: str
    rows: list[dict[str, Any]]


def groups_of(document: Mapping[str, Any]) -> list[Group]:
    """Every table with its entries, each told key by key."""
    return [
        Group(table, *NOUNS.get(table, (table, f"{table}s")), [_row(one) for one in document.get(table, ())])
        for table in TABLES
    ]


def _row(entry: Mapping[str, Any]) -> dict[str, Any]:
    name = entry.get("name") or entry.get("title") or ""
    rest = {key: value for key, value in entry.items() if key not in {"code", "name", "title"}}
    return {"code": entry.get("code", ""), "name": name, "says": list(told(rest).items())}


def drawing_of(document: Mapping[str, Any]) -> SafeString:
    """The unit as the guide draws it, in its first variant; empty if it cannot be drawn."""
    try:
        guide = read(document)
    except (KeyError, TypeError, ValueError):
        return SafeString("")
    drawing = document.get(DRAWING) or {}
    if not drawing or any("never drawn" not in one for one in check_drawing(drawing, guide.positions)):
        return SafeString("")
    plain = {one.code: "serviceable" for one in guide.positions}
    svg = unit_drawing(drawing, guide.positions, plain, {}, variant=guide.variants[0].code)
    return mark_safe(svg)  # noqa: S308  the program's own drawing; it escapes what the guide says


def as_file(name: str, document: Mapping[str, Any]) -> HttpResponse:
    """The document as a TOML file."""
    answer = HttpResponse(toml_of(document), content_type="application/toml; charset=utf-8")
    plain = re.sub(r"[^a-z0-9_-]+", "_", name.lower())
    answer.headers["Content-Disposition"] = f'attachment; filename="{plain}.toml"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def guides(request: HttpRequest, by: Actor) -> HttpResponse:
    """Families with what is published and what is being written; a file begins a draft."""
    by.need(READ)
    form = UploadForm()
    if request.method == "POST":
        by.need(drafting.RIGHT)
        form = UploadForm(request.POST, request.FILES)
        if form.is_valid():
            try:
                draft = drafting.begin_draft_from_file(text=form.cleaned_data["file"], by=by)
            except Refusal as trouble:
                add_refusal(form, trouble)
            else:
                messages.success(request, f"The draft of {draft.family_code} is begun from the file.")
                return redirect("guide_draft", draft.family_code)
    context = {"form": form, "rows": _families(), "writes": by.may(drafting.RIGHT), "place": "office"}
    return render(request, "inspections/guides/list.html", context, status=422 if form.errors else 200)


def _families() -> list[dict[str, Any]]:
    """Each family, and each draft of a family that has nothing published yet."""
    newest: dict[int, GuideRevision] = {}
    revisions = GuideRevision.objects.defer("document").annotate(asked=Count("checks"))
    for one in revisions.order_by("number"):
        newest[one.family_id] = one
    begun = {one.family_code: one for one in GuideDraft.objects.all()}
    rows: list[dict[str, Any]] = [
        {
            "code": one.code,
            "name": one.name,
            "maker": one.maker,
            "revision": newest.get(one.pk),
            "draft": begun.pop(one.code, None),
        }
        for one in Family.objects.order_by("code")
    ]
    for code, draft in sorted(begun.items()):
        head = draft.document.get(HEAD_TABLE, {})
        rows.append(
            {"code": code, "name": head.get("name", ""), "maker": head.get("maker", ""), "draft": draft}
        )
    return rows


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
def family(request: HttpRequest, by: Actor, code: str) -> HttpResponse:
    """The revisions of one family's guide; a draft begins from the newest or from an older one."""
    found = family_for(by, code)
    if request.method == "POST":
        by.need(drafting.RIGHT)
        number = request.POST.get("revision", "")
        base = revision_for(by, code, int(number)) if number.isascii() and number.isdigit() else None
        try:
            draft = drafting.begin_draft(family=found, revision=base, by=by)
        except Refusal as trouble:
            messages.error(request, trouble.message)
            return redirect("guide_family", code)
        return redirect("guide_draft", draft.family_code)
    rows = list(
        GuideRevision.objects.filter(family=found)
        .defer("document")
        .annotate(asked=Count("checks", distinct=True), held=Count("examination", distinct=True))
        .order_by("-number")  # a count forgets the order of the model
    )
    names = people(one.published_by for one in rows)
    context = {
        "family": found,
        "rows": [(one, names[one.published_by]) for one in rows],
        "draft": GuideDraft.objects.filter(family_code=code).first(),
        "writes": by.may(drafting.RIGHT),
        "place": "office",
    }
    return render(request, "inspections/guides/family.html", context)


@require_safe
@for_actor
def revision(request: HttpRequest, by: Actor, code: str, number: int) -> HttpResponse:
    """Everything that one revision says, and what it changed."""
    found = revision_for(by, code, number)
    before = GuideRevision.objects.filter(family=found.family, number=number - 1).first()
    context = {
        "revision": found,
        "by": people([found.published_by])[found.published_by],
        "head": list(told(found.document.get(HEAD_TABLE, {})).items()),
        "groups": groups_of(found.document),
        "drawing": drawing_of(found.document),
        "before": before,
        "differences": differences(before.document, found.document) if before else [],
        "place": "office",
    }
    return render(request, "inspections/guides/revision.html", context)


@require_safe
@for_actor
def revision_file(request: HttpRequest, by: Actor, code: str, number: int) -> HttpResponse:
    found = revision_for(by, code, number)
    return as_file(f"{code}_revision_{number}", found.document)


def since(document: Mapping[str, Any], base: GuideRevision | None) -> Sequence[Difference]:
    """What a draft says otherwise than a revision; all of it is new where nothing is published."""
    return differences(base.document if base else {}, document)
