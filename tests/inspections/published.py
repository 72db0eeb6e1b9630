"""Published repair standards, inches, as printed. Fit: positive is loose (printed L), negative tight (T).

Source: TM 9-2520-246-34 (US Army, May 1978), table 4-6, and table 5-1 for the last two rows.
"""

from dataclasses import dataclass

SOURCE = "TM 9-2520-246-34 (US Army, May 1978), table 4-6"
BEARING_SOURCE = "TM 9-2520-246-34 (US Army, May 1978), table 5-1"


@dataclass(frozen=True, slots=True)
class Row:
    code: str
    hole: str
    hole_new_in: tuple[float, float]
    hole_wear_in: float | None
    shaft: str
    shaft_new_in: tuple[float, float]
    shaft_wear_in: float | None
    fit_in: tuple[float, float]
    fit_wear_in: float
    source: str = SOURCE


BEARING = Row(
    "COVER-BEARING",
    "cover bore",
    (4.3300, 4.3309),
    4.3316,
    "bearing outside diameter",
    (4.3301, 4.3307),
    None,
    (-0.0007, 0.0008),
    0.0015,
)
CUP = Row(
    "COVER-CUP",
    "cover bore",
    (4.4355, 4.4365),
    4.4375,
    "bearing cup outside diameter",
    (4.4375, 4.4385),
    None,
    (-0.0030, -0.0010),
    0.0000,
)
# Its wear limit of the fit is stated by itself: the worn bore with the smallest new shaft would be .0071.
SHIFTER = Row(
    "COVER-SHIFTER",
    "cover bore",
    (1.0000, 1.0012),
    1.0020,
    "shifter shaft outside diameter",
    (0.9949, 0.9961),
    0.9941,
    (0.0039, 0.0063),
    0.0070,
)
# Printed 0.0024T for the looser end; the sizes give 0.0044T.
MISPRINTED = Row(
    "CASE-PLUG",
    "case bore",
    (1.2480, 1.2496),
    1.2520,
    "plug and oil seal outside diameter",
    (1.2540, 1.2580),
    None,
    (-0.0100, -0.0024),
    -0.0020,
)
IDLER = Row(
    "CONE-IDLER",
    "bearing cone bore",
    (2.0000, 2.0005),
    None,
    "idler shaft outside diameter",
    (2.0010, 2.0015),
    2.0005,
    (-0.0015, -0.0005),
    0.0000,
)
BUSH = Row(
    "BEARING-SHAFT",
    "bearing inside diameter",
    (1.2510, 1.2520),
    None,
    "shaft outside diameter",
    (1.2495, 1.2505),
    None,
    (0.0005, 0.0025),
    0.0040,
    BEARING_SOURCE,
)
REVERSE = Row(
    "REVERSE-GEAR",
    "reverse gear inside diameter",
    (1.2520, 1.2530),
    None,
    "shaft outside diameter",
    (1.2495, 1.2505),
    None,
    (0.0015, 0.0035),
    0.0055,
    BEARING_SOURCE,
)
ROWS = (BEARING, CUP, SHIFTER, MISPRINTED, IDLER, BUSH, REVERSE)


def mm(inches: float) -> float:
    """Exact by definition: 1 in = 25.4 mm; rounded far below any figure of the table."""
    return round(inches * 25.4, 6)


def as_toml(rows: tuple[Row, ...]) -> str:
    """Each row as a hole, a shaft, two measures and a mate of a guide in mm."""
    return "".join(_row(row) for row in rows)


def _row(row: Row) -> str:
    hole = _feature(row, "H", row.hole, row.hole_new_in, row.hole_wear_in)
    shaft = _feature(row, "S", row.shaft, row.shaft_new_in, row.shaft_wear_in)
    return f"""{hole}{shaft}
[[check]]
code = "MT-{row.code}"
position = "SHAFT"
kind = "stack"
title = "{row.shaft} in {row.hole}"
terms = [{{ feature = "{row.code}.H", factor = 1 }}, {{ feature = "{row.code}.S", factor = -1 }}]
fit = [{mm(row.fit_in[0])}, {mm(row.fit_in[1])}]
wear = {mm(row.fit_wear_in)}
source = "{row.source}"
"""


def _feature(row: Row, end: str, name: str, new_in: tuple[float, float], wear_in: float | None) -> str:
    position = "CASE" if end == "H" else "SHAFT"
    wear = "" if wear_in is None else f", wear = {mm(wear_in)}"
    return f"""
[[feature]]
code = "{row.code}.{end}"
position = "{position}"
name = "{name}"
rule = "simple"
source = "{row.source}"
limit = [{{ new = [{mm(new_in[0])}, {mm(new_in[1])}]{wear} }}]

[[check]]
code = "ME-{row.code}-{end}"
position = "{position}"
kind = "measure"
title = "{name}"
feature = "{row.code}.{end}"
"""
