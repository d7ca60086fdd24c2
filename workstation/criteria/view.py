"""How much of a zone lies inside the frame: exact areas of a disc cut by a rectangle."""

from math import acos, asin, pi, sqrt

from workstation.criteria.table import Zone


def seen_fraction(zone: Zone, view_um: tuple[float, float, float, float]) -> float:
    """Return the fraction of a zone's area that lies inside the frame.

    Parameters
    ----------
    zone
        The ring, by its diameters in micrometres.
    view_um
        The frame's left, top, right and bottom edge in micrometres from the cladding's centre.

    Returns
    -------
    float
        0 to 1.

    Notes
    -----
    The area is that of the outer disc inside the rectangle less that of the inner one, each in closed form
    (circular segments, any table of plane figures).
    """
    inner, outer = zone.inner_um / 2, zone.outer_um / 2
    seen = _disc_in_view(outer, view_um) - _disc_in_view(inner, view_um)
    return min(1.0, max(0.0, seen / (pi * (outer**2 - inner**2))))


def _disc_in_view(radius: float, view_um: tuple[float, float, float, float]) -> float:
    left, top, right, bottom = view_um
    if radius == 0 or left >= right or top >= bottom:
        return 0.0
    return (
        _disc_below(radius, right, bottom)
        - _disc_below(radius, left, bottom)
        - _disc_below(radius, right, top)
        + _disc_below(radius, left, top)
    )


def _disc_below(radius: float, x: float, y: float) -> float:
    """Area of the part of a centred disc to the left of ``x`` and above ``y``, both in the disc's units."""
    a, b = min(x / radius, 1.0), min(y / radius, 1.0)
    if a <= -1 or b <= -1:
        return 0.0
    if a * a + b * b < 1:  # the corner lies in the disc
        unit = a * b + (a * sqrt(1 - a * a) + b * sqrt(1 - b * b) + pi / 2 + asin(a) + asin(b)) / 2
    elif a > 0 and b > 0:
        unit = _segment(a) + _segment(b) - pi
    elif a <= 0 and b <= 0:
        unit = 0.0
    else:
        unit = _segment(min(a, b))
    return unit * radius**2


def _segment(x: float) -> float:
    """Area of the part of the unit disc to the left of ``x``."""
    return pi - acos(x) + x * sqrt(1 - x * x)
