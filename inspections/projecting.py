"""Measures of pieces as they are judged now, for search and for mates."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from inspections.judging import Judgement
from inventory.models import Measure, Piece


def project_measures(
    judgement: Judgement, checks: Iterable[str], pieces: Mapping[str, Piece], at: datetime
) -> None:
    """Bring the measures of these measuring checks to what is judged; ``pieces`` by tag."""
    for code in checks:
        feature = judgement.guide.check[code].feature
        for finding in judgement.of_check(code):
            piece = pieces[finding.piece]
            if finding.value_mm is None or finding.expanded_um is None:
                Measure.objects.filter(piece=piece, feature=feature).delete()
                continue
            Measure.objects.update_or_create(
                piece=piece,
                feature=feature,
                defaults={
                    "condition": piece.condition,
                    "value_um": finding.value_mm * 1000,
                    "expanded_um": finding.expanded_um,
                    "state": finding.state,
                    "at": at,
                },
            )
