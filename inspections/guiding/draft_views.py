"""Pages of a draft: what it holds, its entries one by one, what it changes, publishing it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from typing import Any, Concatenate, ParamSpec
from urllib.parse import urlencode

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from inspections.document import CHECK_KINDS
from inspections.guiding import drafting, drafts
from inspections.guiding.differences import NOUNS, Difference, changes_of, told
from inspections.guiding.drafts import DRAWING, HEAD_TABLE, PLAIN
from inspections.guiding.forms import EntryForm, NewCheckForm, bound_as_it_stands
from inspections.guiding.guides import GuideRefused, problems_of
from inspections.guiding.shape import TABLES, Problem
from inspections.guiding.views import as_file, drawing_of, groups_of, since
from inspections.models import GuideDraft, GuideRevision
from inventory.shown import people
from shop.access import Actor, NotThere
from shop.models import Family, Position
from shop.refusals import Refusal, Stale
from shop.views import for_actor

GONE = "This draft is gone: somebody published it or threw it away."
# what a form sends beside what was typed
_UNTYPED = frozenset({"csrfmiddlewaretoken", "version", "deed", "number", "kind"})


def _gone(request: HttpRequest, code: str) -> HttpResponse:
    """The draft went away while somebody wrote in it: what was typed is shown, to be typed again."""
    typed = [
        (name.replace("__", " "), words)
        for name, words in request.POST.items()
        if name not in _UNTYPED and isinstance(words, str) and words.strip()
    ]
    if not typed:
        messages.error(request, GONE)
        return redirect("guides")
    family = Family.objects.filter(code=code).first()
    context = {"code": code, "family": family, "gone": GONE, "typed": typed, "place": "office"}
    return render(request, "inspections/guides/gone.html", context, status=409)


P = ParamSpec("P")


def _with_draft(
    view: Callable[Concatenate[HttpRequest, Actor, GuideDraft, P], HttpResponse],
) -> Callable[Concatenate[HttpRequest, Actor, str, P], HttpResponse]:
    """A page of a family's draft; what is sent to one that is gone is not thrown away with it."""

    @wraps(view)
    def page(request: HttpRequest, by: Actor, code: str, *args: P.args, **kwargs: P.kwargs) -> HttpResponse:
        found = None
        try:
            found = drafting.draft_for(by, code)
            return view(request, by, found, *args, **kwargs)
        except NotThere:
            if found is None and request.method == "POST":
                return _gone(request, code)
            raise
        except GuideDraft.DoesNotExist:
            return _gone(request, code)

    return page  # type: ignore[return-value]  # as for_actor's: the path gives it by name


def _newest(draft: GuideDraft) -> GuideRevision | None:
    return GuideRevision.objects.filter(family__code=draft.family_code).first()


def _entry_url(draft: GuideDraft, table: str, code: str = "") -> str:
    if table in PLAIN:
        return reverse("guide_draft_plain", args=[draft.family_code, table])
    return reverse("guide_draft_entry", args=[draft.family_code, table, code])


def _where(problem: Problem) -> tuple[str, str]:
    """Table and code that a problem is about; empty for the document as a whole."""
    name = problem.key.split(".", 1)[0] if problem.key.startswith(HEAD_TABLE) else problem.key
    if name in PLAIN:
        return name, ""
    table, _, rest = problem.key.partition(" ")
    return (table, rest.rpartition(".")[0]) if table in TABLES and rest else ("", "")


def _problem_rows(draft: GuideDraft, problems: Sequence[Problem]) -> list[dict[str, Any]]:
    rows = []
    for one in problems:
        table, code = _where(one)
        there = table and drafts.entry_of(draft.document, table, code) is not None
        rows.append({"problem": one, "url": _entry_url(draft, table, code) if there else ""})
    return rows


@require_safe
@for_actor
@_with_draft
def draft(request: HttpRequest, by: Actor, found: GuideDraft) -> HttpResponse:
    """All entries, with what the checker says of them and which differ from what is published."""
    problems = problems_of(drafts.text_of(found.document))
    newest = _newest(found)
    changed = {(one.table, one.code): one.kind for one in since(found.document, newest)} if newest else {}
    groups = groups_of(found.document)
    for group in groups:
        for row in group.rows:
            row["url"] = _entry_url(found, group.table, row["code"])
            row["changed"] = changed.get((group.table, row["code"]), "")
    context = {
        "draft": found,
        "newest": newest,
        "head": found.document.get(HEAD_TABLE, {}),
        "head_says": list(told(found.document.get(HEAD_TABLE, {})).items()),
        "by": people([found.changed_by])[found.changed_by],
        "problems": _problem_rows(found, problems),
        "refused": sum(one.severity == "refused" for one in problems),
        "groups": groups,
        "changes": len(changed),
        "place": "office",
    }
    return render(request, "inspections/guides/draft.html", context)


@require_safe
@for_actor
@_with_draft
def draft_file(request: HttpRequest, by: Actor, found: GuideDraft) -> HttpResponse:
    return as_file(f"{found.family_code}_draft", found.document)


# --- one entry


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
@_with_draft
def draft_new(request: HttpRequest, by: Actor, found: GuideDraft, table: str) -> HttpResponse:
    """A new entry. A check says first what kind of question it asks."""
    if table not in TABLES:
        raise NotThere
    asked = request.POST.get("kind") or request.GET.get("kind", "")
    original: dict[str, Any] = {}
    if table == "check":
        if asked not in CHECK_KINDS:
            form = NewCheckForm({"kind": asked}) if asked else NewCheckForm()
            context = {"draft": found, "form": form, "place": "office"}
            return render(request, "inspections/guides/new_check.html", context)
        original = {"kind": asked}
    if request.method != "POST":
        given = {key: value for key, value in request.GET.items() if key in {"position", "check"}}
        form_ = EntryForm(
            found.document,
            table,
            original,
            mark=by.person.decimal_mark,
            new=True,
            initial={"version": found.version, **given},
        )
        return _entry_page(request, found, table, "", form_, original)
    return _save(request, by, found, table, "", original)


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
@_with_draft
def draft_entry(request: HttpRequest, by: Actor, found: GuideDraft, table: str, entry: str) -> HttpResponse:
    """An entry of a table: change it, or take it out."""
    if table not in TABLES:
        raise NotThere
    return _entry(request, by, found, table, entry)


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
@_with_draft
def draft_plain(request: HttpRequest, by: Actor, found: GuideDraft, table: str) -> HttpResponse:
    """The head of the guide, or its drawing."""
    return _entry(request, by, found, table, "")


def _entry(request: HttpRequest, by: Actor, found: GuideDraft, table: str, code: str) -> HttpResponse:
    original = drafts.entry_of(found.document, table, code)
    if original is None:
        if request.method == "POST":
            messages.error(request, f"There is no {table} {code} in the draft now: somebody removed it.")
            return redirect("guide_draft", found.family_code)
        raise NotThere
    if request.method == "POST":
        if request.POST.get("deed") == "remove" and table not in PLAIN:
            return _remove(request, by, found, table, code, original)
        return _save(request, by, found, table, code, original)
    form = bound_as_it_stands(
        found.document, table, original, mark=by.person.decimal_mark, version=found.version
    )
    form.take_problems(_own(problems_of(drafts.text_of(found.document)), table, code))
    return _entry_page(request, found, table, code, form, original)


def _own(problems: Sequence[Problem], table: str, code: str) -> list[Problem]:
    return [one for one in problems if _where(one) == (table, code)]


def _version(request: HttpRequest) -> int:
    typed = request.POST.get("version", "")
    return int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 10 else 0


def _save(
    request: HttpRequest, by: Actor, found: GuideDraft, table: str, code: str, original: Mapping[str, Any]
) -> HttpResponse:
    new = not code and table not in PLAIN
    form = EntryForm(found.document, table, original, mark=by.person.decimal_mark, new=new, data=request.POST)
    if not form.is_valid():
        return _entry_page(request, found, table, code, form, original, status=422)
    try:
        saved = drafting.change_entry(
            draft=found, table=table, row=form.row, version=form.cleaned_data["version"], new=new, by=by
        )
    except Refusal as trouble:
        found.refresh_from_db()
        form.take_refusal(trouble)
        _take_version(form, found.version)
        standing = drafts.entry_of(found.document, table, code) or {} if isinstance(trouble, Stale) else {}
        return _entry_page(
            request, found, table, code, form, original, status=trouble.status, standing=standing
        )
    written = code or str(form.row.get("code", ""))
    said = _own(problems_of(drafts.text_of(saved.document)), table, "" if table in PLAIN else written)
    name = (
        f"{NOUNS[table][0]} {written}" if table in NOUNS else {DRAWING: "the drawing"}.get(table, "the head")
    )
    if said:
        messages.warning(request, f"Saved: {name}. The checker has something to say about it.")
        return redirect(_entry_url(saved, table, written))
    messages.success(request, f"Saved: {name}.")
    return redirect(reverse("guide_draft", args=[saved.family_code]) + f"#{table}")


def _take_version(form: forms.Form, version: int) -> None:
    """The next sending is made from what stands now, which the page shows."""
    assert isinstance(form.data, QueryDict)
    data = form.data.copy()
    data["version"] = str(version)
    form.data = data


def _remove(
    request: HttpRequest, by: Actor, found: GuideDraft, table: str, code: str, original: Mapping[str, Any]
) -> HttpResponse:
    try:
        drafting.remove_entry(draft=found, table=table, code=code, version=_version(request), by=by)
    except Refusal as trouble:
        found.refresh_from_db()
        standing = drafts.entry_of(found.document, table, code) or original
        form = bound_as_it_stands(
            found.document, table, standing, mark=by.person.decimal_mark, version=found.version
        )
        form.add_error(None, trouble.message)
        return _entry_page(request, found, table, code, form, standing, status=trouble.status)
    words = "will be retired" if table == "position" else "is taken out of the draft"
    messages.success(request, f"{NOUNS[table][0].capitalize()} {code} {words}.")
    return redirect(reverse("guide_draft", args=[found.family_code]) + f"#{table}")


def _entry_page(
    request: HttpRequest,
    found: GuideDraft,
    table: str,
    code: str,
    form: EntryForm,
    original: Mapping[str, Any],
    *,
    status: int = 200,
    standing: Mapping[str, Any] | None = None,
) -> HttpResponse:
    newest = _newest(found)
    published = drafts.entry_of(newest.document, table, code) if newest and (code or table in PLAIN) else None
    context = {
        "draft": found,
        "table": table,
        "noun": NOUNS.get(table, ({DRAWING: "unit drawing"}.get(table, "head of the guide"), ""))[0],
        "code": code,
        "kind": form.kind,
        "name": original.get("name") or original.get("title") or "",
        "form": form,
        "version": found.version,
        "standing": changes_of(standing, form.row) if standing else (),
        "published": newest if published is not None else None,
        "changes": changes_of(published, original) if published and table != DRAWING else (),
        "named_by": [(one, _entry_url(found, *one.split(" ", 1))) for one in _namers(found, table, code)],
        "was_published": _was_published(found, table, code),
        "drawing": drawing_of(found.document) if table == DRAWING else "",
        "inner": _inner(found, table, code),
        "place": "office",
    }
    return render(request, "inspections/guides/entry.html", context, status=status)


def _namers(found: GuideDraft, table: str, code: str) -> list[str]:
    return drafts.named_by(found.document, table, code) if code else []


def _was_published(found: GuideDraft, table: str, code: str) -> bool:
    rows = Position.objects.filter(family__code=found.family_code, code=code)
    return table == "position" and bool(code) and rows.exists()


# what hangs on an entry of a table: table of the others, the key that names it
_HANGS = {
    "position": (("feature", "position"), ("check", "position")),
    "check": (("defect", "check"),),
}


def _inner(found: GuideDraft, table: str, code: str) -> list[dict[str, Any]]:
    """Entries that belong to this one, with the way to a new one of them."""
    made = []
    for other, key in _HANGS.get(table, ()) if code else ():
        rows = [row for row in drafts.rows_of(found.document, other) if row.get(key) == code]
        new = reverse("guide_draft_new", args=[found.family_code, other])
        made.append(
            {
                "many": NOUNS[other][1],
                "one": NOUNS[other][0],
                "rows": [
                    (_entry_url(found, other, row["code"]), row["code"], row.get("name") or row.get("title"))
                    for row in rows
                ],
                "new": f"{new}?{urlencode({key: code})}",
            }
        )
    return made


# --- what it changes, and its end


@require_http_methods(["GET", "HEAD", "POST"])
@for_actor
@_with_draft
def draft_publish(request: HttpRequest, by: Actor, found: GuideDraft) -> HttpResponse:
    """The difference from the newest revision in words; publish the draft, or throw it away."""
    if request.method != "POST":
        return _publish_page(request, found)
    deed, version = request.POST.get("deed", ""), _version(request)
    try:
        if deed == "publish":
            made = drafting.publish_draft(draft=found, version=version, by=by)
            messages.success(request, f"Published: revision {made.number} of the {made.family} guide.")
            return redirect("guide_revision", made.family.code, made.number)
        if deed == "throw away":
            drafting.throw_away_draft(draft=found, version=version, by=by)
            messages.success(request, f"The draft of {found.family_code} is thrown away.")
            return redirect("guides")
        if deed == "follow":
            typed = request.POST.get("number", "")
            number = int(typed) if typed.isascii() and typed.isdigit() else 0
            drafting.follow_newest(draft=found, number=number, version=version, by=by)
            messages.success(request, f"The draft follows revision {number} now.")
            return redirect("guide_draft_publish", found.family_code)
    except GuideRefused:
        trouble = "The guide cannot be published yet: see what the checker refuses."
        return _publish_page(request, found, trouble=trouble, status=422)
    except Refusal as refusal:
        if not GuideDraft.objects.filter(pk=found.pk).exists():
            messages.error(request, refusal.message)
            return redirect("guides")
        found.refresh_from_db()
        return _publish_page(request, found, trouble=refusal.message, status=refusal.status)
    raise NotThere


def _publish_page(
    request: HttpRequest, found: GuideDraft, *, trouble: str = "", status: int = 200
) -> HttpResponse:
    newest = _newest(found)
    problems = problems_of(drafts.text_of(found.document))
    changed: Sequence[Difference] = since(found.document, newest) if newest else ()
    overtaken = newest is not None and found.begun_from is not None and newest.number != found.begun_from
    context = {
        "draft": found,
        "newest": newest,
        "overtaken": overtaken,
        "next": newest.number + 1 if newest else 1,
        "differences": [
            (one, _entry_url(found, one.table, one.code) if _there(found, one) else "") for one in changed
        ],
        "problems": _problem_rows(found, problems),
        "refused": sum(one.severity == "refused" for one in problems),
        "trouble": trouble,
        "place": "office",
    }
    return render(request, "inspections/guides/publish.html", context, status=status)


def _there(found: GuideDraft, one: Difference) -> bool:
    return one.kind != "removed" and (bool(one.code) or one.table in PLAIN)
