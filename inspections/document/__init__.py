"""The guide as a document: plain frozen records read from the TOML file or from a published revision.

Pure: no database, no Django. Lengths are mm, money is minor units of the shop's currency, time is minutes.
Positions are named by codes that never change; everything else belongs to the one revision it stands in.

A check of kind ``try`` is of named pieces as assembled: turned, selected, or measured for backlash, gap or
end float. ``of`` names the other positions it is assembled with; a reading of it is of all those pieces and
ends when any of them is changed. With ``min``, ``max`` or ``wear`` it takes a quantity and a gauge, at its
``places`` if it names any; without, it is sound or shows one of its defects, like a look::

    [[check]]
    code = "TRY-2M-LASH"
    position = "W2M"
    kind = "try"
    of = ["LAY"]
    title = "Backlash of second gear"
    dimension = "movement"   # what the gauge measures; optional
    gauge_um = 12.0          # optional
    min = 0.08               # mm
    max = 0.20
    wear = 0.30
    places = ["first tooth", "opposite"]
    remedies = ["MATCH-2"]
"""

from inspections.document.index import GuideIndex
from inspections.document.reading import read
from inspections.document.records import (
    CHECK_KINDS,
    DIMENSIONS,
    STANDARD,
    Bolts,
    Bond,
    BuildStep,
    Check,
    CheckKind,
    Complaint,
    Defect,
    Feature,
    Guide,
    Leaves,
    Limit,
    Position,
    Remedy,
    Rule,
    Term,
    Variant,
)

__all__ = [
    "CHECK_KINDS",
    "DIMENSIONS",
    "STANDARD",
    "Bolts",
    "Bond",
    "BuildStep",
    "Check",
    "CheckKind",
    "Complaint",
    "Defect",
    "Feature",
    "Guide",
    "GuideIndex",
    "Leaves",
    "Limit",
    "Position",
    "Remedy",
    "Rule",
    "Term",
    "Variant",
    "read",
]
