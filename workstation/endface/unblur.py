"""From the size of a blurred image to the size of the thing.

A feature is outlined at half of its own depth. Blur leaves that outline where it is for anything wide, and puts it
too far out for anything narrow: a point imaged with a Gaussian of standard deviation s is 2.355 s wide at half
depth. The tables here are the half widths of a disc and of a strip under a Gaussian, computed once in units of
the blur: the disc by its Hankel form (a uniform disc convolved with a Gaussian, the circular coverage function of
Germond, RAND Memorandum RM-330, 1950, from memory), the strip by the error function.
"""

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ive, ndtr

_SMALLEST = 0.3  # in units of the blur; what is smaller looks the same as this


@lru_cache(maxsize=1)
def _disc_table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    sizes = np.concatenate([np.linspace(_SMALLEST, 5, 36), np.linspace(5.3, 12, 16)])
    seen = np.empty_like(sizes)
    for k, size in enumerate(sizes):
        rho, weight = np.polynomial.legendre.leggauss(40)
        rho = (rho + 1) * size / 4
        weight = weight * size / 4
        r = np.linspace(0, size / 2 + 3, 160)[:, None]
        value = (np.exp(-0.5 * (r - rho) ** 2) * ive(0, r * rho) * rho * weight).sum(axis=1)
        seen[k] = 2 * np.interp(-0.5 * value[0], -value, r[:, 0])
    return seen, sizes


@lru_cache(maxsize=1)
def _strip_table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    sizes = np.concatenate([np.linspace(_SMALLEST, 5, 48), np.linspace(5.2, 12, 24)])
    seen = np.empty_like(sizes)
    for k, size in enumerate(sizes):
        x = np.linspace(0, size / 2 + 3, 400)
        value = ndtr(x + size / 2) - ndtr(x - size / 2)
        seen[k] = 2 * np.interp(-0.5 * value[0], -value, x)
    return seen, sizes


def disc_diameter_um(half_depth_um: float, blur_um: float) -> float:
    """Diameter of the disc whose image is `half_depth_um` wide at half depth under a blur of `blur_um`.

    Examples
    --------
    >>> round(disc_diameter_um(20.0, 0.5), 1)
    20.0
    >>> disc_diameter_um(2.8, 1.0) < 2.8
    True
    """
    return _through(_disc_table(), half_depth_um, blur_um)


def strip_width_um(half_depth_um: float, blur_um: float) -> float:
    """Width of the strip whose image is `half_depth_um` wide at half depth under a blur of `blur_um`."""
    return _through(_strip_table(), half_depth_um, blur_um)


def _through(
    table: tuple[NDArray[np.float64], NDArray[np.float64]], half_depth_um: float, blur_um: float
) -> float:
    seen, sizes = table
    scaled = half_depth_um / blur_um
    if scaled >= seen[-1]:
        # far from a corner blur leaves a straight edge where it is, and draws a round one in by blur² / diameter
        return half_depth_um + float(sizes[-1] - seen[-1]) * blur_um * float(seen[-1] / scaled)
    return float(np.interp(scaled, seen, sizes)) * blur_um


def disc_depth(diameter_um: float, blur_um: float) -> float:
    """Share of its depth that a disc keeps at its middle under a blur."""
    return float(1 - np.exp(-((diameter_um / blur_um) ** 2) / 8))


def strip_depth(width_um: float, blur_um: float) -> float:
    """Share of its depth that a strip keeps along its middle under a blur."""
    return float(2 * ndtr(width_um / blur_um / 2) - 1)
