"""Pictures of the build sheet as SVG: end float, bolt order, taper plug. Pure; classes only, not to scale."""

from collections.abc import Sequence
from html import escape


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _open(width: float, height: float, said: str) -> str:
    return (
        f'<svg class="drawing drawing-small" viewBox="0 0 {_n(width)} {_n(height)}" role="img" '
        f'aria-label="{escape(said)}"><title>{escape(said)}</title>'
    )


def _box(x: float, y: float, width: float, height: float) -> str:
    return f"M{_n(x)} {_n(y)}h{_n(width)}v{_n(height)}h{_n(-width)}Z"


def float_picture(
    faces_mm: float,
    pieces: Sequence[tuple[str, float]],
    washers: Sequence[tuple[str, float]],
    float_text: str,
) -> str:
    """The stack between its two faces: first washer in front, the others behind the pieces, then the float.

    Lengths along the stack are shared out for reading, not drawn to scale: a washer would be a hair.
    """
    left, right, gap, thick = 24.0, 336.0, 16.0, 9.0
    front, rear = list(washers[:1]), list(washers[1:])
    room = right - left - gap - thick * len(washers)
    total = sum(max(length, 0.0) for _, length in pieces) or 1.0
    solid, plain, texts, x = [], [], [], left
    for code, length in front:
        solid.append(_box(x, 44, thick, 68))
        texts.append((x + 4, 36.0, f"{code} {length:.2f}", "start"))
        x += thick
    for index, (name, length) in enumerate(pieces):
        width = room * max(length, 0.0) / total
        plain.append(_box(x, 50, width, 56))
        texts.append((x + width / 2, 78.0 + (index % 2) * 18, f"{name} {length:.2f}", "middle"))
        x += width
    x += gap
    for _ in rear:
        solid.append(_box(x, 44, thick, 68))
        x += thick
    texts += [
        (right - 6, 36.0 - 18 * n, f"{code} {length:.2f}", "end")
        for n, (code, length) in enumerate(reversed(rear))
    ]
    face = 20.0
    solid += [_box(left - 7, face, 7, 116), _box(right, face, 7, 116)]
    gap_x = right - thick * len(rear) - gap
    said = "; ".join(
        [f"{name} {length:.2f} mm" for name, length in (*front, *pieces, *rear)]
        + [f"between faces {faces_mm:.2f} mm", float_text]
    )
    lettering = "".join(
        f'<text x="{_n(tx)}" y="{_n(ty)}" text-anchor="{anchor}">{escape(words)}</text>'
        for tx, ty, words, anchor in texts
    )
    return (
        _open(360, 182, f"End float. {said}")
        + f'<path class="part" d="{"".join(plain)}"/><path class="solid" d="{"".join(solid)}"/>{lettering}'
        + f'<path class="leader" d="M{_n(gap_x + gap / 2)} 78V124"/>'
        + f'<circle class="solid" cx="{_n(gap_x + gap / 2)}" cy="78" r="2"/>'
        + f'<text x="{_n(gap_x + gap / 2)}" y="138" text-anchor="end">{escape(float_text)}</text>'
        + f'<g class="dimension"><path class="reach" d="M{_n(left)} 150H{_n(right)}"/></g>'
        + f'<text x="180" y="170" text-anchor="middle">between faces {faces_mm:.2f}</text></svg>'
    )


def bolt_picture(bolts: Sequence[tuple[str, float, float, int]]) -> str:
    """Bolts of a joint where they sit (name, x mm, y mm with y upward, order): each numbered by its turn."""
    if not bolts:
        return ""
    xs, ys = [one[1] for one in bolts], [one[2] for one in bolts]
    span = max(max(xs) - min(xs), (max(ys) - min(ys)) * 300 / 170, 1e-9)
    scale = 270 / span
    middle_x, middle_y = (max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2
    height = max((max(ys) - min(ys)) * scale, 0.0) + 104
    half_w, half_h = (max(xs) - min(xs)) * scale / 2, (max(ys) - min(ys)) * scale / 2
    marks = []
    for name, x, y, order in sorted(bolts, key=lambda one: one[3]):
        px, py = 180 + (x - middle_x) * scale, height / 2 - (y - middle_y) * scale
        label = ""
        # Names of bolts that sit close would lie on each other: the order in words has them.
        crowded = any(
            abs(other_x - x) + abs(other_y - y) > 0
            and abs(other_x - x) * scale < 60
            and abs(other_y - y) * scale < 46
            for _, other_x, other_y, _ in bolts
        )
        if (
            name and not crowded and not name.isdigit()
        ):  # one number at a bolt, its turn; two cannot be told apart
            # Beside the centre line, not on it.
            at, anchor = (px + 6, "start") if abs(px - 180) < 12 else (px, "middle")
            shown = escape(name if len(name) <= 8 else f"{name[:7]}…")
            label = f'<text x="{_n(at)}" y="{_n(py + 31)}" text-anchor="{anchor}">{shown}</text>'
        marks.append(
            f'<g class="balloon"><circle cx="{_n(px)}" cy="{_n(py)}" r="15"/>'
            f'<text x="{_n(px)}" y="{_n(py)}">{order}</text></g>{label}'
        )
    outer = _box(180 - half_w - 28, height / 2 - half_h - 40, half_w * 2 + 56, half_h * 2 + 80)
    inner = ""
    if half_w > 40 and half_h > 56:
        box = _box(180 - half_w + 28, height / 2 - half_h + 42, half_w * 2 - 56, half_h * 2 - 84)
        inner = f'<path class="fine" d="{box}"/>'
    turns = ", ".join(name or str(turn) for name, _, _, turn in sorted(bolts, key=lambda one: one[3]))
    said = f"Tightening order of {len(bolts)} bolts: {turns}"
    centre = f'<path class="centreline" d="M6 {_n(height / 2)}H354M180 4V{_n(height - 4)}"/>'
    return (
        _open(360, height, said) + f'<path class="outline" d="{outer}"/>{inner}{centre}{"".join(marks)}</svg>'
    )


def plug_picture() -> str:
    """A taper plug: 1 in 16 on the diameter (ASME B1.20.1, ISO 7-1: from memory), drawn steeper."""
    threads = "".join(
        f"M{60 + n * 13} {_n(26 + n * 1.4)}L{66 + n * 13} {_n(104 - n * 1.4)}" for n in range(9)
    )
    return (
        _open(330, 130, "Taper plug, 1 in 16 on the diameter")
        + '<path class="part" d="M54 24L186 38V92L54 106Z"/>'
        + '<path class="part" d="M22 40H54V90H22Z"/><path class="fine" d="M22 56H54M22 74H54"/>'
        + f'<path class="fine" d="{threads}"/>'
        + '<path class="centreline" d="M8 65H226"/>'
        + '<path class="leader" d="M150 34.2L190 16H206"/><text x="210" y="21">taper 1 : 16</text>'
        + '<text x="210" y="98">turn past hand-tight</text></svg>'
    )
