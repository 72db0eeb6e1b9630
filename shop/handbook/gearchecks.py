"""What is measured on a gear: span over teeth, over pins or balls, chordal thickness, backlash.

Lengths mm, angles degrees. The figures are for teeth of full thickness: a gear in use is thinner by its
share of the backlash and by wear, and measures less.
"""

from dataclasses import dataclass
from math import ceil, cos, degrees, floor, pi, radians, sin, sqrt, tan

from shop.handbook.gears import STANDARD, Gear, Pair, pair
from shop.handbook.involute import inverse_involute, involute
from shop.handbook.quantities import Refused
from shop.handbook.working import COMMON_PRACTICE, OutOfRange, Step, within

PIN_RULE = 1.728  # module to pin: the usual external pin, 1.728/DP
WAYS = ("along the circle", "square to the flank")
FULL_TEETH = "The figure is for full teeth: teeth thinned for backlash, or worn, measure less"


@dataclass(frozen=True, slots=True)
class Span:
    """The span over several teeth [mm], where it touches, and how many teeth may be spanned."""

    span_mm: float
    spanned: int
    least_spanned: int
    most_spanned: int
    contact_mm: float
    face_needed_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OverPins:
    """The size over two pins or balls [mm] and where they touch the flanks."""

    over_pins_mm: float
    pin_mm: float
    least_pin_mm: float
    most_pin_mm: float
    contact_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Chordal:
    """Thickness and half-angle of a tooth at the reference circle, and the calliper's chord and height."""

    thickness_mm: float
    half_angle_deg: float
    chord_mm: float
    height_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Thinning:
    """By how much teeth are thinner than full ones, from a span measurement, in the normal section."""

    thinning_mm: float
    thickness_mm: float
    nominal_span_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Backlash:
    """Backlash [mm] along the working pitch circle and square to the flanks."""

    circumferential_mm: float
    normal_mm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def span(one: Gear, spanned: int | None = None) -> Span:
    """Span over teeth (base tangent length) of a spur or helical gear.

    W = m cos α (π (k − 0.5) + z inv αt) + 2 x m sin α. Without a number of teeth the one that touches nearest
    to the middle of the flank, d + 2 x m, is taken.

    :param one: the gear, see :func:`shop.handbook.gears.gear`
    :param spanned: number of teeth spanned, k

    Reference: ISO 21771:2007, clause 9 (clause from memory); DIN 3960 has the same.

    >>> from shop.handbook.gears import gear
    >>> found = span(gear(24, 3, shift=0.4), 4)
    >>> round(found.span_mm, 4)
    32.8266
    """
    least, most, best = _spans(one)
    if most < 1:
        raise OutOfRange("spanned", spanned or 1, "none for this gear: measure it over pins")
    if spanned is None:
        spanned = best
    if spanned != int(spanned) or not least <= spanned <= most:
        raise OutOfRange("spanned", spanned, f"{least} to {most} teeth, where the anvils touch the flanks")
    spanned = int(spanned)
    length = _span(one, spanned)
    contact = _touches(one, length)
    base_helix = radians(one.base_helix_deg)
    inputs = (
        ("z", f"{one.teeth}"),
        ("m", f"{one.module_mm:.4f} mm"),
        ("α", f"{one.pressure_angle_deg:g}°"),
        ("αt", f"{one.transverse_angle_deg:.4f}°"),
        ("k", f"{spanned}"),
        ("x", f"{one.shift:g}"),
    )
    step = Step("W = m cos α (π (k − 0.5) + z inv αt) + 2 x m sin α", inputs, STANDARD)
    cautions = [FULL_TEETH, *one.cautions]
    face = length * sin(base_helix) + (one.module_mm if one.helix_deg else 0.0)
    if one.helix_deg:
        cautions.append(f"A helical gear needs a face of about {ceil(face)} mm or more for this span")
    return Span(length, spanned, least, most, contact, face, (step, *one.working), tuple(cautions))


def over_pins(one: Gear, pin_mm: float | None = None) -> OverPins:
    """Size over two pins (spur) or balls (helical) in opposite, or for odd counts nearly opposite, gaps.

    inv φ = inv αt + dp/(z m cos α) − π/(2 z) + 2 x tan α/z, solved by a bracketed root;
    M = db/cos φ + dp for even z, M = db cos(90°/z)/cos φ + dp for odd z.

    :param one: the gear, see :func:`shop.handbook.gears.gear`
    :param pin_mm: pin or ball diameter [mm]; without it 1.728 modules

    Reference: Machinery's Handbook, "Checking gear size by measurement over wires"; ISO 21771:2007, clause 9.

    >>> from shop.handbook.gears import gear
    >>> round(over_pins(gear(32, 25.4)).over_pins_mm / 25.4, 4)
    34.413
    """
    least, most = _pins(one)
    pin = PIN_RULE * one.module_mm if pin_mm is None else pin_mm
    if pin_mm is None:
        pin = min(max(pin, least), most)
    if not least <= pin <= most:
        raise OutOfRange(
            "pin_mm", pin, f"{least:.3f} to {most:.3f} mm: it touches the flanks and stands above the tips"
        )
    centre = _pin_angle(one, pin)
    odd = cos(pi / (2 * one.teeth)) if one.teeth % 2 else 1.0
    over = one.base_mm * odd / cos(centre) + pin
    contact = one.base_mm * sqrt(1 + (tan(centre) - pin / _normal_base(one)) ** 2)
    inputs = (
        ("dp", f"{pin:.4f} mm"),
        ("φ", f"{degrees(centre):.4f}°"),
        ("db", f"{one.base_mm:.4f} mm"),
        ("z", f"{one.teeth}, {'odd' if one.teeth % 2 else 'even'}"),
    )
    formula = "inv φ = inv αt + dp/(z m cos α) − π/(2 z) + 2 x tan α/z; M = db {}/cos φ + dp"
    step = Step(
        formula.format("cos(90°/z)" if one.teeth % 2 else "").replace(" /cos", "/cos"),
        inputs,
        "Machinery's Handbook, checking gear size by measurement over wires",
    )
    cautions = [FULL_TEETH, *one.cautions]
    if one.helix_deg:
        cautions.append("Helical teeth: the figure is over balls in one plane square to the axis")
    return OverPins(over, pin, least, most, contact, (step, *one.working), tuple(cautions))


def chordal(one: Gear, addendum_mm: float | None = None) -> Chordal:
    """Chordal thickness at the reference circle and the height at which a tooth calliper reads it.

    ψ = 90°/zv + 360° x tan α/(π zv), chord = zv m sin ψ, height = zv m (1 − cos ψ)/2 + ha; zv = z/cos³ β.

    :param one: the gear, see :func:`shop.handbook.gears.gear`
    :param addendum_mm: from the reference circle to the tip as it stands [mm]; without it that of full depth

    Reference: Elements of Metric Gear Technology, section 10.1, tables 10-1 and 10-3.

    >>> from shop.handbook.gears import gear
    >>> found = chordal(gear(12, 10, shift=0.3))
    >>> round(found.chord_mm, 4), round(found.height_mm, 4)
    (17.8256, 13.6657)
    """
    height = (one.tip_mm - one.reference_mm) / 2 if addendum_mm is None else addendum_mm
    within("addendum_mm", height, 0.0, 4 * one.module_mm, "mm")
    teeth, module = one.virtual_teeth, one.module_mm
    half = one.thickness_mm / (teeth * module)
    inputs = (("s", f"{one.thickness_mm:.4f} mm"), ("zv", f"{teeth:.4f}"), ("ha", f"{height:.4f} mm"))
    step = Step(
        "chord = zv m sin ψ, height = zv m (1 − cos ψ)/2 + ha, ψ = s/(zv m)",
        inputs,
        "Elements of Metric Gear Technology, section 10.1",
    )
    chord, rise = teeth * module * sin(half), teeth * module * (1 - cos(half)) / 2
    cautions = (FULL_TEETH, "The height counts from the tip: a worn or turned tip shifts the reading")
    return Chordal(one.thickness_mm, degrees(half), chord, rise + height, (step,), cautions)


def thinning(one: Gear, spanned: int, measured_mm: float) -> Thinning:
    """How much thinner than full a gear's teeth are, from its measured span: Δs = (W − measured)/cos α.

    :param one: the gear, see :func:`shop.handbook.gears.gear`
    :param spanned: number of teeth spanned
    :param measured_mm: the span as measured [mm], within a fifth of a module of the full one

    Reference: ISO 21771:2007, clause 9 (clause from memory).

    >>> from shop.handbook.gears import gear
    >>> round(thinning(gear(24, 3), 3, span(gear(24, 3), 3).span_mm - 0.094).thinning_mm, 4)
    0.1
    """
    full = span(one, spanned)
    room = 0.2 * one.module_mm
    within("measured_mm", measured_mm, full.span_mm - room, full.span_mm + room, "mm for these teeth")
    less = (full.span_mm - measured_mm) / cos(radians(one.pressure_angle_deg))
    inputs = (("W", f"{full.span_mm:.4f} mm"), ("measured", f"{measured_mm:.4f} mm"))
    step = Step("Δs = (W − measured)/cos α", inputs, STANDARD)
    cautions = () if less >= 0 else ("The span is larger than that of full teeth: check count and shift",)
    return Thinning(less, one.thickness_mm - less, full.span_mm, (*full.working, step), cautions)


def backlash_of_spans(
    first: Gear,
    second: Gear,
    *,
    first_thinning_mm: float,
    second_thinning_mm: float = 0.0,
    centre_mm: float | None = None,
) -> Backlash:
    """Backlash of two gears from how much thinner than full their teeth are, at a centre distance.

    At the working circle j = jw + Σ Δs/cos β · dw/d, where jw is what full teeth leave at this centre;
    square to the flanks jn = j cos αw cos βb.

    :param first: one gear, see :func:`shop.handbook.gears.gear`
    :param second: its mate
    :param first_thinning_mm: Δs of the first, see :func:`thinning` [mm]
    :param second_thinning_mm: Δs of the second [mm]
    :param centre_mm: centre distance [mm]; without it that where full teeth have no backlash

    Reference: ISO 21771:2007, clause 5.5 (clause from memory).

    >>> from shop.handbook.gears import gear
    >>> found = backlash_of_spans(gear(15, 3.175), gear(33, 3.175), first_thinning_mm=0.0, centre_mm=76.25)
    >>> round(found.circumferential_mm, 6)
    0.036511
    """
    for name, value in (("first_thinning_mm", first_thinning_mm), ("second_thinning_mm", second_thinning_mm)):
        within(name, value, -0.2 * first.module_mm, 0.3 * first.module_mm, "mm")
    met: Pair = pair(first, second, centre_mm)
    helix = cos(radians(first.helix_deg))
    thinned = sum(
        less / helix * working / one.reference_mm
        for less, working, one in zip(
            (first_thinning_mm, second_thinning_mm), met.working_diameters_mm, (first, second), strict=True
        )
    )
    along = met.backlash_mm + thinned
    square = along * cos(radians(met.working_angle_deg)) * cos(radians(first.base_helix_deg))
    inputs = (
        ("jw of full teeth", f"{met.backlash_mm:.4f} mm"),
        ("Δs", f"{first_thinning_mm:.4f} and {second_thinning_mm:.4f} mm"),
        ("a", f"{met.centre_mm:.4f} mm"),
    )
    step = Step("j = jw + Σ Δs dw/(d cos β); jn = j cos αw cos βb", inputs, STANDARD)
    cautions = [one for one in met.cautions if not one.startswith("Full teeth have no room")]
    if along < 0:
        cautions.append("Less than nothing: these teeth bind")
    return Backlash(along, square, (*met.working, step), tuple(cautions))


def backlash_of_dial(
    reading_mm: float,
    radius_mm: float,
    one: Gear,
    *,
    way: str = WAYS[0],
    pitch_diameter_mm: float | None = None,
) -> Backlash:
    """Backlash from a dial on a gear that is rocked while its mate is held.

    Along the circle at a radius r: j = reading · rw/r, whatever the arm. Square to the flank, the plunger on
    the tooth itself: jn = reading · rw/r (r is then the radius where it touches) and j = jn/(cos α cos β).

    :param reading_mm: travel of the dial [mm], 0 to 5
    :param radius_mm: from the axis to the plunger [mm]
    :param one: the gear that is rocked, see :func:`shop.handbook.gears.gear`
    :param way: "along the circle" or "square to the flank"
    :param pitch_diameter_mm: working pitch diameter [mm]; without it the reference diameter

    Reference: lever ratio, plane geometry; jn = j cos α cos β by ISO 21771:2007, 5.5 (clause from memory).

    >>> from shop.handbook.gears import gear
    >>> round(backlash_of_dial(0.30, 60.0, gear(40, 2)).circumferential_mm, 3)
    0.2
    """
    within("reading_mm", reading_mm, 0.0, 5.0, "mm")
    pitch = one.reference_mm if pitch_diameter_mm is None else pitch_diameter_mm
    within("pitch_diameter_mm", pitch, 0.9 * one.reference_mm, 1.1 * one.reference_mm, "mm for this gear")
    within("radius_mm", radius_mm, 0.2 * pitch, 10 * pitch, "mm")
    if way not in WAYS:
        raise Refused(f"The dial reads one of: {', '.join(WAYS)}")
    at_pitch = reading_mm * pitch / 2 / radius_mm
    turn = cos(radians(one.pressure_angle_deg)) * cos(radians(one.helix_deg))
    along = at_pitch if way == WAYS[0] else at_pitch / turn
    inputs = (
        ("reading", f"{reading_mm:.4f} mm, {way}"),
        ("r", f"{radius_mm:.3f} mm"),
        ("rw", f"{pitch / 2:.3f} mm"),
    )
    steps = (
        Step("reading at the pitch circle = reading · rw/r", inputs, "lever ratio, plane geometry"),
        Step(
            "jn = j cos α cos β",
            (("α", f"{one.pressure_angle_deg:g}°"), ("β", f"{one.helix_deg:g}°")),
            STANDARD,
        ),
    )
    cautions = [
        f"Read at four places round the gear and take the least, for runout ({COMMON_PRACTICE})",
        "Hold the mate still, and take bearing play and end float out first",
    ]
    if way == WAYS[1] and abs(radius_mm - pitch / 2) > 2 * one.module_mm:
        cautions.append("The plunger is far from the pitch circle: it is hardly square to the flank there")
    return Backlash(along, along * turn, steps, tuple(cautions))


def _span(one: Gear, spanned: int) -> float:
    angle = radians(one.pressure_angle_deg)
    teeth = pi * (spanned - 0.5) + one.teeth * involute(one.transverse_angle_deg)
    return one.module_mm * (cos(angle) * teeth + 2 * one.shift * sin(angle))


def _touches(one: Gear, length: float) -> float:
    """Diameter at which a span touches the flanks."""
    return sqrt(one.base_mm**2 + (length * cos(radians(one.base_helix_deg))) ** 2)


def _spans(one: Gear) -> tuple[int, int, int]:
    """Least, most and best number of teeth that can be spanned."""

    def for_contact(diameter: float) -> float:
        length = sqrt(max(0.0, diameter**2 - one.base_mm**2)) / cos(radians(one.base_helix_deg))
        return (length - _span(one, 1)) / (_span(one, 2) - _span(one, 1)) + 1

    bottom = max(one.base_mm, one.root_mm + 0.2 * one.module_mm)
    least, most = max(1, ceil(for_contact(bottom))), floor(for_contact(one.tip_mm))
    # A gear with few teeth may let no whole number touch in the deep half: the one below the tip is left.
    least = min(least, most)
    middle = max(bottom, one.reference_mm + 2 * one.shift * one.module_mm)
    best = min(max(round(for_contact(middle)), least), most)
    return least, most, best


def _normal_base(one: Gear) -> float:
    return one.base_mm * cos(radians(one.base_helix_deg))


def _gap(one: Gear) -> float:
    """Half the angle of the gap at the base circle, less sign: inv αt − π/(2 z) + 2 x tan α/z."""
    slope = tan(radians(one.pressure_angle_deg))
    return involute(one.transverse_angle_deg) - pi / (2 * one.teeth) + 2 * one.shift * slope / one.teeth


def _pin_angle(one: Gear, pin: float) -> float:
    return radians(inverse_involute(_gap(one) + pin / _normal_base(one)))


def _pins(one: Gear) -> tuple[float, float]:
    """Least and most pin [mm]: touches above base and root circle, below the tip, stands out of the gap.

    A pin that touches where tan αc is known has its centre at φ = tan αc − gap, and is base (tan φ − tan αc).
    """

    def touching(diameter: float) -> float:
        slope = sqrt(max(0.0, (diameter / one.base_mm) ** 2 - 1))
        # In the wide gaps of few teeth a pin of any size touches below the tip: 80° is far beyond use.
        centre = min(max(1e-6, slope - _gap(one)), radians(80))
        return _normal_base(one) * (tan(centre) - slope)

    most = touching(one.tip_mm)
    least = max(touching(max(one.base_mm, one.root_mm)), 1e-3 * one.module_mm)
    low, high = least, most
    for _ in range(60):  # the size over pins grows with the pin
        middle = (low + high) / 2
        stands = one.base_mm / cos(_pin_angle(one, middle)) + middle > one.tip_mm
        low, high = (low, middle) if stands else (middle, high)
    return max(least, high), most


__all__ = [
    "WAYS",
    "Backlash",
    "Chordal",
    "OverPins",
    "Span",
    "Thinning",
    "backlash_of_dial",
    "backlash_of_spans",
    "chordal",
    "over_pins",
    "span",
    "thinning",
]
