"""Torque and preload from friction itself, where the coefficients are known; the nut factor hides them.

Torques are N·m, forces N, lengths mm, stresses MPa.
"""

import math
from dataclasses import dataclass

from shop.handbook.bolts import bolt_thread
from shop.handbook.threads import Thread
from shop.handbook.tightening import FALLBACK
from shop.handbook.working import FROM_MEMORY, Step, within


@dataclass(frozen=True, slots=True)
class LongForm:
    """The torque [N·m] from friction in the thread and under the head, each share by itself."""

    torque_nm: float
    thread_nm: float
    head_nm: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Preload:
    """The preload [N] at which a bolt being turned reaches a share of its yield."""

    preload_n: float
    working: tuple[Step, ...]
    cautions: tuple[str, ...]


def long_form(
    thread: Thread | str,
    preload_n: float,
    *,
    thread_friction: float,
    head_friction: float,
    head_mm: float,
    hole_mm: float,
) -> LongForm:
    """Torque for a preload from the friction in the thread and under the head.

    T = F d2/2 (tan λ + μt/cos β)/(1 − μt tan λ/cos β) + F μh (dw + dh)/4, with tan λ = P/(π d2) and
    β half the angle of the form.

    :param thread: a parallel thread or its designation
    :param preload_n: preload [N], 0 to 2 000 000
    :param thread_friction: coefficient μt, 0.04 to 0.4
    :param head_friction: coefficient μh, 0.04 to 0.4
    :param head_mm: diameter dw of the bearing face [mm]
    :param hole_mm: diameter dh of the hole under it [mm], below ``head_mm``

    Reference: Shigley, Mechanical Engineering Design, eq. (8-26); VDI 2230:2003 takes it in its linear form.

    >>> friction = {"thread_friction": 0.12, "head_friction": 0.12}
    >>> round(long_form("M10x1.25", 31600, **friction, head_mm=14.6, hole_mm=11).torque_nm)
    51
    """
    bolt = bolt_thread(thread)
    within("preload_n", preload_n, 0.0, 2e6, "N")
    within("thread_friction", thread_friction, 0.04, 0.4, "")
    within("head_friction", head_friction, 0.04, 0.4, "")
    within("head_mm", head_mm, bolt.major_mm, 10 * bolt.major_mm, "mm")
    within("hole_mm", hole_mm, bolt.minor_mm, head_mm, "mm")
    lead = bolt.pitch_mm / (math.pi * bolt.pitch_diameter_mm)
    drag = thread_friction / math.cos(math.radians(bolt.angle_deg / 2))
    in_thread = preload_n * bolt.pitch_diameter_mm / 2 * (lead + drag) / (1 - lead * drag) / 1000
    under_head = preload_n * head_friction * (head_mm + hole_mm) / 4 / 1000
    inputs = (
        ("F", f"{preload_n:.0f} N"),
        ("d2", f"{bolt.pitch_diameter_mm:.3f} mm"),
        ("tan λ", f"{lead:.5f}"),
        ("μt", f"{thread_friction:g}"),
        ("μh", f"{head_friction:g}"),
        ("dw, dh", f"{head_mm:g}, {hole_mm:g} mm"),
    )
    step = Step(
        "T = F d2/2 (tan λ + μt/cos β)/(1 − μt tan λ/cos β) + F μh (dw + dh)/4",
        inputs,
        f"Shigley, Mechanical Engineering Design, eq. (8-26); {FROM_MEMORY}",
    )
    return LongForm(in_thread + under_head, in_thread, under_head, (step,), (FALLBACK,))


def assembly_preload(
    thread: Thread | str, yield_mpa: float, *, thread_friction: float, share: float = 0.9
) -> Preload:
    """Preload at which a bolt under tension and twist together reaches a share of its yield.

    F = ν Rp A0/√(1 + 3 (3/2 · d2/d0 · (P/(π d2) + μt/cos β))²), d0 = (d2 + d3)/2, A0 = π/4 d0².

    :param thread: a parallel thread or its designation
    :param yield_mpa: yield or 0.2 % proof stress [MPa], 100 to 1500
    :param thread_friction: coefficient μt, 0.04 to 0.4
    :param share: share ν of the yield, 0.1 to 0.9

    Reference: VDI 2230:2003, Table A1 (from a stored catalogue page).

    >>> round(assembly_preload("M12x1.25", 640, thread_friction=0.1).preload_n, -2)
    49100.0
    """
    bolt = bolt_thread(thread)
    within("yield_mpa", yield_mpa, 100.0, 1500.0, "MPa")
    within("thread_friction", thread_friction, 0.04, 0.4, "")
    within("share", share, 0.1, 0.9, "of the yield")
    area = bolt.stress_area_mm2
    assert area is not None
    across = math.sqrt(4 * area / math.pi)
    drag = thread_friction / math.cos(math.radians(bolt.angle_deg / 2))
    lead = bolt.pitch_mm / (math.pi * bolt.pitch_diameter_mm)
    twist = 1.5 * bolt.pitch_diameter_mm / across * (lead + drag)
    preload = share * yield_mpa * area / math.sqrt(1 + 3 * twist**2)
    inputs = (
        ("ν", f"{share:g}"),
        ("Rp", f"{yield_mpa:g} MPa"),
        ("A0", f"{area:.2f} mm²"),
        ("μt", f"{thread_friction:g}"),
    )
    step = Step("F = ν Rp A0/√(1 + 3 (3/2 · d2/d0 · (tan λ + μt/cos β))²)", inputs, "VDI 2230:2003, Table A1")
    return Preload(preload, (step,), (FALLBACK,))
