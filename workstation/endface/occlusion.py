"""Estimate of the light that dark features block directly.

Outlines of dark features and the core's centre go in; the covered fraction of the mode's power density and the
loss that direct blocking alone would cause come out. The mode is Gaussian, ``G = exp(-2 r²/w²)`` with ``w`` half
the mode field diameter (Marcuse, Bell System Technical Journal 56, 703, 1977, from memory). For an opaque mask the
overlap integral gives ``eta = (1 - f)²``, so the loss is ``-20 log10(1 - f)``. Thin and opaque is assumed: no
scatter, no air gap, no see-through dirt. It is an estimate, and no return loss follows from it.
"""

import math
from collections.abc import Iterable

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.draw import polygon

from workstation.values import Occlusion

_REACH = 3.0  # in units of w: beyond it lies less than 2e-8 of the mode
_CELLS = 600


def occlusion(
    outlines_um: Iterable[NDArray[np.float64]],
    core_um: tuple[float, float],
    mode_field_diameter_um: float,
) -> Occlusion:
    """Estimate directly blocked light.

    Parameters
    ----------
    outlines_um
        Closed polygons (n, 2) of dark features, in micrometres.
    core_um
        Centre of the core in the same axes.
    mode_field_diameter_um
        Mode field diameter in micrometres.

    Returns
    -------
    Occlusion

    Raises
    ------
    ValueError
        The mode field diameter isn't positive.
    """
    if not mode_field_diameter_um > 0:
        raise ValueError(f"The mode field diameter must be positive, not {mode_field_diameter_um} µm.")
    w = mode_field_diameter_um / 2
    cell = 2 * _REACH * w / _CELLS
    mask = np.zeros((_CELLS, _CELLS), np.uint8)
    for outline in outlines_um:
        if np.hypot(*(outline - core_um).T).min() > 2 * _REACH * w and not _around(outline, core_um):
            continue
        points = (outline - core_um) / cell + (_CELLS - 1) / 2
        mask[polygon(points[:, 1], points[:, 0], mask.shape)] = 1
    axis = (np.arange(_CELLS) - (_CELLS - 1) / 2) * cell
    weight = np.exp(-2 * axis**2 / w**2)
    fraction = float(weight @ mask @ weight / weight.sum() ** 2)
    fraction = min(fraction, 1.0 - 1e-9)
    return Occlusion(fraction, -20 * math.log10(1 - fraction), mode_field_diameter_um)


def _around(outline: NDArray[np.float64], point: tuple[float, float]) -> bool:
    return cv2.pointPolygonTest(outline.astype(np.float32), point, measureDist=False) >= 0
