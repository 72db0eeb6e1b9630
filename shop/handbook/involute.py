"""The involute function and its inverse, on which the calculations of gear teeth rest. Angles in degrees."""

from math import atan, degrees, pi, radians, tan

from shop.handbook.working import within


def involute(angle_deg: float) -> float:
    """The involute of a pressure angle: inv a = tan a − a, a in radians.

    :param angle_deg: pressure angle [degree], 0 to 89

    Reference: ISO 21771:2007, 4.3.2 (clause from memory).

    >>> round(involute(20), 6)
    0.014904
    """
    angle = radians(within("angle_deg", angle_deg, 0.0, 89.0, "degrees"))
    return tan(angle) - angle


def inverse_involute(value: float) -> float:
    """The pressure angle [degree] whose involute is ``value``, by a bracketed root.

    tan a = value + a lies between value and value + π/2, so a is between 0 and atan(value + π/2): halving
    that bracket cannot run away, as a step by the slope can near 0.

    :param value: involute, 0 to 50

    >>> round(inverse_involute(involute(26.0888)), 4)
    26.0888
    """
    within("value", value, 0.0, 50.0, "")
    low, high = 0.0, atan(value + pi / 2)
    for _ in range(200):
        middle = (low + high) / 2
        if not low < middle < high:
            break
        if tan(middle) - middle < value:
            low = middle
        else:
            high = middle
    return degrees((low + high) / 2)
