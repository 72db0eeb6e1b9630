"""Guides: checking a document before it is published, publishing it, and having it at hand."""

import hashlib
from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache

from django.db import transaction

from inspections.checking import check_document
from inspections.document import Guide, GuideIndex, read
from inspections.drawings.drawing import check_drawing
from inspections.guiding.shape import Problem
from inspections.models import GuideCheck, GuideRevision
from shop import clock
from shop.access import Actor
from shop.audit import write_line
from shop.models import Complaint, Family, Position, Variant
from shop.refusals import Refusal

__all__ = [
    "GuideRefused",
    "Problem",
    "check_document",
    "guide_of",
    "newest_revision",
    "problems_of",
    "publish_guide",
]


class GuideRefused(Refusal):
    """The document cannot be published; ``problems`` names each line."""

    def __init__(self, problems: list[Problem]) -> None:
        self.problems = problems
        lines = "; ".join(f"line {one.line}, {one.key}: {one.message}" for one in problems[:5])
        more = f" And {len(problems) - 5} more." if len(problems) > 5 else ""
        super().__init__(f"The guide cannot be published. {lines}{more}")


def problems_of(text: str) -> list[Problem]:
    """Everything that is wrong with a document, its drawing included; refusals first."""
    document, problems = check_document(text)
    if any(one.severity == "refused" for one in problems) or not document.get("drawing"):
        return problems
    faults = check_drawing(document["drawing"], read(document).positions)
    # A position that is drawn nowhere can still be reached from the list.
    drawn = [
        Problem("warning" if "never drawn" in words else "refused", 0, "drawing", words) for words in faults
    ]
    return sorted([*problems, *drawn], key=lambda one: (one.severity, one.line))


def publish_guide(*, text: str, by: Actor, at: datetime | None = None) -> GuideRevision:
    """Freeze the document as the family's next revision and bring families, variants, positions and
    complaints to what it says. The newest text again is the same revision. Raises :class:`GuideRefused`."""
    by.need("keep_office")
    at = at or clock.now()
    refused = [one for one in problems_of(text) if one.severity == "refused"]
    if refused:
        raise GuideRefused(refused)
    document, _ = check_document(text)
    guide = read(document)
    digest = hashlib.sha256(text.encode()).hexdigest()
    with transaction.atomic():
        family, _made = Family.objects.get_or_create(
            code=guide.family, defaults={"name": guide.family_name, "maker": guide.maker}
        )
        # Two people publish at once: the second waits here and takes the number after the first's.
        family = Family.objects.select_for_update().get(pk=family.pk)
        newest = GuideRevision.objects.filter(family=family).first()
        if newest is not None and newest.digest == digest:
            return newest
        revision = GuideRevision.objects.create(
            family=family,
            number=newest.number + 1 if newest else 1,
            document=document,
            digest=digest,
            published_at=at,
            published_by=by.key,
        )
        _write_checks(revision, guide)
        _project(family, guide, at)
        write_line(by=by, deed="published", thing=revision, at=at, family=family.code, number=revision.number)
    return revision


def _write_checks(revision: GuideRevision, guide: Guide) -> None:
    GuideCheck.objects.bulk_create(
        GuideCheck(
            revision=revision,
            code=one.code,
            position_code=one.position,
            kind=one.kind,
            title=one.title,
            ordinal=number,
        )
        for number, one in enumerate(guide.checks, 1)
    )


def _project(family: Family, guide: Guide, at: datetime) -> None:
    family.name, family.maker = guide.family_name, guide.maker
    family.save(update_fields=["name", "maker"])
    for variant in guide.variants:
        Variant.objects.update_or_create(family=family, code=variant.code, defaults={"name": variant.name})
    for position in guide.positions:
        Position.objects.update_or_create(
            family=family, code=position.code, defaults={"name": position.name, "retired_at": None}
        )
    for complaint in guide.complaints:
        Complaint.objects.update_or_create(
            family=family, code=complaint.code, defaults={"name": complaint.name, "retired_at": None}
        )
    _retire(family, at, {one.code for one in guide.positions}, {one.code for one in guide.complaints})


def _retire(family: Family, at: datetime, positions: Iterable[str], complaints: Iterable[str]) -> None:
    """A code that the newest revision no longer has is retired: older tickets still name it."""
    family.positions.filter(retired_at__isnull=True).exclude(code__in=positions).update(retired_at=at)
    family.complaints.filter(retired_at__isnull=True).exclude(code__in=complaints).update(retired_at=at)


def newest_revision(family: Family) -> GuideRevision:
    """The revision that a new examination is held under."""
    newest = GuideRevision.objects.filter(family=family).defer("document").first()
    if newest is None:
        raise Refusal(f"No guide is published for {family}. The office publishes one.")
    return newest


@lru_cache(maxsize=64)
def _index(pk: int, digest: str) -> GuideIndex:
    return GuideIndex(read(GuideRevision.objects.values_list("document", flat=True).get(pk=pk)))


def read_newest_guides() -> None:
    """Read the newest guide of each family into this process, before anybody waits for it."""
    for family in Family.objects.filter(guide_revisions__isnull=False).distinct():
        guide_of(newest_revision(family))


def guide_of(revision: GuideRevision) -> GuideIndex:
    """The revision's guide, read once: a revision never changes, its digest keeps the key honest."""
    return _index(revision.pk, revision.digest)
