"""Writing guides in the browser: a draft is begun, changed entry by entry, and published or thrown away.

Two managers write one draft: a save names the version that its form was made from. Another entry changed
meanwhile does no harm; the same entry changed meanwhile is :class:`~shop.refusals.Stale`, and so is
publishing a draft that is not the one that was looked at.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import IntegrityError, transaction

from inspections.guiding import drafts
from inspections.guiding.drafts import HEAD_TABLE, PLAIN
from inspections.guiding.guides import publish_guide
from inspections.models import GuideDraft, GuideRevision
from shop import clock
from shop.access import Actor, NotThere
from shop.audit import write_line
from shop.models import Family
from shop.refusals import Conflict, Refusal, Stale

RIGHT = "keep_office"


def draft_for(by: Actor, family: str) -> GuideDraft:
    """The family's draft, for who may write it."""
    by.need(RIGHT)
    found = GuideDraft.objects.filter(family_code=family).first()
    if found is None:
        raise NotThere
    return found


def begin_draft(
    *, family: Family, by: Actor, revision: GuideRevision | None = None, at: datetime | None = None
) -> GuideDraft:
    """Begin a draft from a published revision, the newest if none is named. If one is begun already, that
    one is given back, as it stands."""
    by.need(RIGHT)
    base = revision or GuideRevision.objects.filter(family=family).first()
    if base is None:
        raise Refusal(f"Nothing is published for {family} yet. Begin from a TOML file.")
    return _begin(family.code, base.document, base.number, by, at or clock.now())[0]


def begin_draft_from_file(*, text: str, by: Actor, at: datetime | None = None) -> GuideDraft:
    """Begin a draft from a TOML file. Refusal beside ``file`` if its entries cannot be edited; Conflict if
    the family has a draft of another content already."""
    by.need(RIGHT)
    try:
        document = drafts.read_upload(text)
    except drafts.Unfit as trouble:
        lines = " ".join(
            f"Line {one.line}, {one.key}: {one.message}" if one.line else f"{one.key}: {one.message}"
            for one in trouble.problems[:8]
        )
        more = f" And {len(trouble.problems) - 8} more." if len(trouble.problems) > 8 else ""
        raise Refusal(file=f"{lines}{more}") from None
    family = document[HEAD_TABLE]["family"]
    if len(family) > 20:
        raise Refusal(file="A family's code is at most 20 long.")
    draft, begun = _begin(family, document, None, by, at or clock.now())
    if not begun and draft.document != document:
        raise Conflict(
            file=f"A draft of the {family} guide is begun already. Publish it or throw it away first."
        )
    return draft


def _begin(
    family: str, document: Mapping[str, Any], number: int | None, by: Actor, at: datetime
) -> tuple[GuideDraft, bool]:
    try:
        with transaction.atomic():
            draft = GuideDraft.objects.create(
                family_code=family,
                document=document,
                begun_from=number,
                begun_at=at,
                begun_by=by.key,
                changed_at=at,
                changed_by=by.key,
            )
            write_line(by=by, deed="draft begun", thing=draft, at=at, family=family, begun_from=number)
    except IntegrityError:
        # Somebody else began it at the same moment: one a family.
        return GuideDraft.objects.get(family_code=family), False
    return draft, True


def _mark(table: str, code: str) -> str:
    return f"{table} {code}".strip()


def _named(table: str, code: str) -> str:
    """At the head of a sentence; the code keeps its letters."""
    return _mark(table[:1].upper() + table[1:], code)


def _need_unchanged(draft: GuideDraft, table: str, code: str, version: int) -> None:
    if draft.touched.get(_mark(table, code), 0) > version:
        raise Stale(
            f"{_named(table, code)} was changed since you opened it. What you typed is kept "
            "below; what stands now is beside it. Save again to put yours in its place."
        )


def _locked(draft: GuideDraft) -> GuideDraft:
    found = GuideDraft.objects.select_for_update().filter(pk=draft.pk).first()
    if found is None:
        raise Conflict("This draft is gone: somebody published it or threw it away.")
    return found


def _write(draft: GuideDraft, document: dict[str, Any], mark: str, by: Actor, at: datetime) -> None:
    version = draft.version + 1
    # The condition holds where the database knows no row locks (SQLite) as well.
    won = GuideDraft.objects.filter(pk=draft.pk, version=draft.version).update(
        document=document,
        version=version,
        touched=draft.touched | {mark: version},
        changed_at=at,
        changed_by=by.key,
    )
    if not won:
        raise Stale("Somebody saved in this draft at the same moment. Save again.")


def change_entry(
    *,
    draft: GuideDraft,
    table: str,
    row: Mapping[str, Any],
    version: int,
    by: Actor,
    new: bool = False,
    at: datetime | None = None,
) -> GuideDraft:
    """Put an entry into the draft: ``new``, or in the place of the one of its code. What it says of other
    entries may still be wrong; the checker says so. Refusal by key for what is wrong with the entry by
    itself, beside ``rest`` for a key that is not known."""
    by.need(RIGHT)
    at = at or clock.now()
    code = "" if table in PLAIN else str(row.get("code", ""))
    if table != drafts.DRAWING and (wrong := drafts.entry_faults(table, row)):
        known = drafts.keys_of(table)
        raise Refusal(**{key if key in known else "rest": words for key, words in reversed(wrong)})
    if table == HEAD_TABLE and row["family"] != draft.family_code:
        raise Refusal(family=f"This is the draft of {draft.family_code}: its code stays.")
    with transaction.atomic():
        held = _locked(draft)
        present = drafts.entry_of(held.document, table, code)
        if new and present is not None:
            raise Refusal(code=f"There is a {table} {code} already. Take another code.")
        if not new and table not in PLAIN and present is None:
            raise Conflict(f"There is no {table} {code} in the draft now: somebody removed it.")
        _need_unchanged(held, table, code, version)
        if present == dict(row) and not new:
            return held
        mark = _mark(table, code)
        _write(held, drafts.with_entry(held.document, table, row), mark, by, at)
        write_line(by=by, deed="draft changed", thing=held, at=at, family=held.family_code, entry=mark)
    held.refresh_from_db()
    return held


def remove_entry(
    *, draft: GuideDraft, table: str, code: str, version: int, by: Actor, at: datetime | None = None
) -> GuideDraft:
    """Take an entry out of the draft. A position that was published is retired when the draft is published:
    its code stays for ever. Conflict if other entries name it; twice is once."""
    by.need(RIGHT)
    at = at or clock.now()
    with transaction.atomic():
        held = _locked(draft)
        if drafts.entry_of(held.document, table, code) is None:
            return held
        _need_unchanged(held, table, code, version)
        if naming := drafts.named_by(held.document, table, code):
            some = ", ".join(naming[:6]) + (f" and {len(naming) - 6} more" if len(naming) > 6 else "")
            raise Conflict(f"{_named(table, code)} is named by {some}. Change those first.")
        mark = _mark(table, code)
        _write(held, drafts.without_entry(held.document, table, code), mark, by, at)
        write_line(by=by, deed="draft entry removed", thing=held, at=at, family=held.family_code, entry=mark)
    held.refresh_from_db()
    return held


def throw_away_draft(*, draft: GuideDraft, version: int, by: Actor, at: datetime | None = None) -> None:
    """Give a draft up; nothing published changes. Stale if somebody wrote in it meanwhile; twice is once."""
    by.need(RIGHT)
    with transaction.atomic():
        held = GuideDraft.objects.select_for_update().filter(pk=draft.pk).first()
        if held is None:
            return
        _need_seen(held, version)
        write_line(by=by, deed="draft thrown away", thing=held, at=at or clock.now(), family=held.family_code)
        held.delete()


def _need_seen(held: GuideDraft, version: int) -> None:
    if held.version != version:
        raise Stale("Somebody wrote in this draft since you opened the page. Look at it again.")


def publish_draft(*, draft: GuideDraft, version: int, by: Actor, at: datetime | None = None) -> GuideRevision:
    """Publish the draft as the next numbered revision; the draft ends with it. Raises Stale if it is not the
    one that was looked at, or was begun from a revision that is not the newest any more, GuideRefused if it
    cannot work, and Conflict if it says nothing new."""
    by.need(RIGHT)
    at = at or clock.now()
    with transaction.atomic():
        held = _locked(draft)
        _need_seen(held, version)
        newest = GuideRevision.objects.filter(family__code=held.family_code).first()
        _need_newest(held, newest)
        if newest is not None and newest.document == held.document:
            raise Conflict(f"The draft says what revision {newest.number} says. Nothing is published.")
        revision = publish_guide(text=drafts.text_of(held.document), by=by, at=at)
        held.delete()
    return revision


def _need_newest(held: GuideDraft, newest: GuideRevision | None) -> None:
    """A draft that is older than the newest revision would take back what that one brought."""
    if held.begun_from is not None and newest is not None and newest.number != held.begun_from:
        raise Conflict(
            f"Revision {newest.number} was published since this draft was begun from {held.begun_from}. "
            "Look at the differences from it, then take it as the one that this draft follows."
        )


def follow_newest(
    *, draft: GuideDraft, number: int, version: int, by: Actor, at: datetime | None = None
) -> GuideDraft:
    """Say that the draft follows the newest revision, its differences having been looked at."""
    by.need(RIGHT)
    with transaction.atomic():
        held = _locked(draft)
        _need_seen(held, version)
        newest = GuideRevision.objects.filter(family__code=held.family_code).first()
        if newest is None or newest.number != number:
            raise Stale("Another revision was published meanwhile. Look at the differences again.")
        held.begun_from, held.version = number, held.version + 1
        held.save(update_fields=["begun_from", "version"])
        write_line(by=by, deed="draft follows", thing=held, at=at, family=held.family_code, number=number)
    return held
