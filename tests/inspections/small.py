"""A small invented guide and short ways to write pieces and readings, for tests without a database."""

from typing import Any

from inspections.checking import check_document
from inspections.document import GuideIndex, read
from inspections.judgement.judging import Judgement, PieceRecord, ReadingRecord, judge

HEAD = """
[guide]
family = "X1"
name = "Small box"
maker = "Hexworth (invented)"
note = "Invented for tests."
oil = "none"

[[variant]]
code = "FC"
name = "floor change"

[[variant]]
code = "RC"
name = "remote change"

[[position]]
code = "CASE"
number = 1
name = "Casing"
material = "grey iron"

[[position]]
code = "SHAFT"
number = 2
name = "Shaft"

[[position]]
code = "SEAL"
number = 3
name = "Seal"

[[position]]
code = "LID"
number = 4
name = "Remote cover"
variants = ["RC"]
"""

SMALL = (
    HEAD
    + """
[[feature]]
code = "CASE.B"
position = "CASE"
name = "casing bore"
form = 0.012
limit = [{ new = [26.000, 26.021] }, { size = "oversize", new = [26.100, 26.121] }]

[[feature]]
code = "CASE.W"
position = "CASE"
name = "casing width"
rule = "simple"
limit = [{ new = [100.0, 100.1], wear = 100.3 }]

[[feature]]
code = "SHAFT.D"
position = "SHAFT"
name = "shaft diameter"
rule = "simple"
limit = [
  { new = [25.980, 25.993], wear = 25.960 },
  { size = "oversize", new = [26.080, 26.093], wear = 26.060 },
]

[[check]]
code = "ID"
position = "CASE"
kind = "identify"
title = "Casting number"
expected = { FC = "X1-101", RC = "X1-102" }

[[check]]
code = "TEETH"
position = "SHAFT"
kind = "count"
title = "Teeth"
identifies = true
expected = { "*" = "18" }

[[check]]
code = "LOOK"
position = "CASE"
kind = "look"
title = "Lugs"

[[check]]
code = "THREAD"
position = "CASE"
kind = "thread"
title = "Cover holes"
designation = "3/8-16 UNC"
remedies = ["INSERT"]

[[check]]
code = "BORE"
position = "CASE"
kind = "measure"
title = "Bore"
feature = "CASE.B"

[[check]]
code = "WIDTH"
position = "CASE"
kind = "measure"
title = "Width"
feature = "CASE.W"
places = ["left", "right"]
remedies = ["FACE"]

[[check]]
code = "DIAMETER"
position = "SHAFT"
kind = "measure"
title = "Diameter"
feature = "SHAFT.D"

[[check]]
code = "MATE"
position = "SHAFT"
kind = "stack"
title = "Shaft in bore"
terms = [{ feature = "CASE.B", factor = 1 }, { feature = "SHAFT.D", factor = -1 }]
fit = [0.007, 0.041]
wear = 0.060

[[check]]
code = "SEALS"
position = "SEAL"
kind = "replaced"
title = "Seal"

[[defect]]
code = "CRACK"
check = "LOOK"
name = "lug cracked"
remedies = ["BRAZE"]

[[defect]]
code = "GONE"
check = "LOOK"
name = "lug broken off"
condemns = true

[[defect]]
code = "RUST"
check = "LOOK"
name = "rust"
harmless = true

[[defect]]
code = "STRIPPED"
check = "THREAD"
name = "stripped"
remedies = ["INSERT"]

[[remedy]]
code = "BRAZE"
name = "Braze the lug"
minutes = 100
restores = ["LOOK"]

[[remedy]]
code = "FACE"
name = "Face the casing"
minutes = 60
restores = ["WIDTH"]
leaves = [{ feature = "CASE.W", to = [100.05, 100.25] }]

[[remedy]]
code = "INSERT"
name = "Thread insert"
minutes = 20
restores = ["THREAD"]

[[complaint]]
code = "LEAKS"
name = "Leaks"
explained_by = ["BORE", "LOOK"]

[[complaint]]
code = "NOISY"
name = "Noisy"
explained_by = ["DIAMETER"]

[[step]]
code = "S1"
title = "Casing"
text = "Casing ready."
positions = ["CASE", "LID"]

[[step]]
code = "S2"
title = "Shaft"
text = "Shaft in."
positions = ["SHAFT", "SEAL"]
after = ["S1"]
"""
)


def index(text: str = SMALL) -> GuideIndex:
    """The guide of a text that has to pass the checker without a refusal."""
    document, problems = check_document(text)
    assert [one for one in problems if one.severity == "refused"] == []
    return GuideIndex(read(document))


CASE = PieceRecord("P1", "CASE")
SHAFT = PieceRecord("P2", "SHAFT")
HOME = {
    "ID": "P1",
    "LOOK": "P1",
    "THREAD": "P1",
    "BORE": "P1",
    "WIDTH": "P1",
    "TEETH": "P2",
    "DIAMETER": "P2",
}


class Bench:
    """Collects readings in order; each ``say`` or ``read`` is one reading."""

    def __init__(self, text: str = SMALL, *pieces: PieceRecord) -> None:
        self.guide = index(text)
        self.pieces = pieces or (CASE, SHAFT)
        self.readings: list[ReadingRecord] = []

    def say(self, check: str, outcome: str, person: str = "Ann", **more: Any) -> str:
        return self._add(check, person, outcome=outcome, **more)

    def read(self, check: str, value_mm: float, person: str = "Ann", um: float = 2.0, **more: Any) -> str:
        more.setdefault("gauge", f"G{um:g}")
        return self._add(check, person, value_mm=value_mm, gauge_expanded_um=um, text=f"{value_mm}", **more)

    def _add(self, check: str, person: str, **more: Any) -> str:
        number = len(self.readings) + 1
        more.setdefault("pieces", ((HOME.get(check, "P1"), 1),))
        self.readings.append(
            ReadingRecord(key=f"R{number}", check=check, person=person, sequence=number, **more)
        )
        return f"R{number}"

    def judge(self, variant: str = "FC") -> Judgement:
        return judge(self.guide, variant, self.pieces, self.readings)
