"""The core, where it can be told from the cladding.

A picture and the fitted cladding go in; a `Core` or None comes out. Idea: the median brightness at each radius is
compared with a few models (no core, a single-mode core, a 50 or 62.5 µm one), each linear in its level and step
for a fixed radius, so that the radius is searched on a grid; the core's own centre follows from the first harmonic
that an offset leaves at its edge.
"""

from itertools import product

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from workstation.endface.arrays import f64
from workstation.endface.edge import EdgeFit
from workstation.values import Core, CoreKind

_RAYS = 180
_ANGLES = np.arange(_RAYS) * (2 * np.pi / _RAYS)
_STEP_UM = 0.25
_REACH_UM = 52.0
_RADII_UM = (np.arange(int(_REACH_UM / _STEP_UM)) + 0.5) * _STEP_UM
# Core diameters: single-mode 8.2 to 9.2 µm (ITU-T G.652, from memory), 50 ± 2.5 and 62.5 ± 2.5 µm
# (IEC 60793-2-10, from memory); the search is a little wider than the tolerance.
_KINDS = (
    (CoreKind.SINGLE_MODE, np.arange(3.4, 6.01, 0.2)),
    (CoreKind.MULTIMODE_50, np.arange(23.0, 27.3, 0.25)),
    (CoreKind.MULTIMODE_62_5, np.arange(28.75, 33.8, 0.25)),
)
# A particle may lie on the middle of the core: the fit is tried without the innermost radii too.
_SKIPPED_UM = (0.0, 3.2)
_LEAST_STEP = 0.006
# The standards allow 0.6 µm (ITU-T G.652) and 2 µm (IEC 60793-2-10) of offset, from memory; a little more is searched.
_MOST_OFFSET_UM = {
    CoreKind.SINGLE_MODE: 1.0, CoreKind.MULTIMODE_50: 3.0, CoreKind.MULTIMODE_62_5: 3.0
}  # fmt: skip
# A core is a little darker than the cladding or a good deal brighter; what is much darker lies on top of it.
_DARKEST_STEP = -0.07


def find_core(grey: NDArray[np.uint8], edge: EdgeFit) -> Core | None:
    """Find the core of a fitted fibre.

    Parameters
    ----------
    grey
        uint8, shape (height, width).
    edge
        The fitted cladding edge.

    Returns
    -------
    Core or None
        None where no step stands clear of the picture's own noise.
    """
    polar = _polar(grey, edge, edge.x_px, edge.y_px)
    profile = np.median(polar, axis=0)
    spread = 1.4826 * np.median(np.abs(polar - profile), axis=0)
    # the median of n rays scatters 1.25 times as much as their mean; rays near the centre share pixels
    independent = np.clip(2 * np.pi * _RADII_UM / max(edge.um_per_px * 1.5, 0.5), 4, _RAYS)
    error = 1.25 * np.maximum(spread, 0.3) / np.sqrt(independent) + 0.0015 * edge.inner
    # dirt or a scratch across the middle covers all of a small circle: its median weighs little
    error = error * (1 + 6 * np.exp(-((_RADII_UM / 2.5) ** 2)))
    best = None
    blank = _solve(profile, error, np.zeros((0, len(_RADII_UM))))
    for (kind, radii), skip_um in product(_KINDS, _SKIPPED_UM):
        for radius in radii:
            shapes = _shapes(float(radius), edge.blur_um, kind)
            cost, coefficients = _solve(profile, error, shapes, skip_um)
            cost += 9.0 * len(shapes)
            step = _step(coefficients, shapes)
            # what is much darker than a core can be lies on top of it, and another kind may explain the rest
            if step > _DARKEST_STEP and (best is None or cost < best[0]):
                best = (cost, kind, float(radius), coefficients, shapes)
    if best is None or blank[0] - best[0] < 60.0:
        return None
    _, kind, radius, coefficients, shapes = best
    step = _step(coefficients, shapes)
    if abs(step) < _LEAST_STEP:
        return None
    slope = np.gradient(coefficients[2:] @ shapes, _STEP_UM)
    centre_px = (edge.x_px, edge.y_px)
    for _ in range(4):
        dx, dy = _offset(_polar(grey, edge, *centre_px), slope, error)
        moved = (centre_px[0] + dx / edge.um_per_px, centre_px[1] + dy / edge.um_per_px)
        if np.hypot(moved[0] - edge.x_px, moved[1] - edge.y_px) * edge.um_per_px > _MOST_OFFSET_UM[kind]:
            # no core lies so far off: dirt pulls, and the cladding's centre is the better guess
            centre_px = (edge.x_px, edge.y_px)
            break
        centre_px = moved
    return Core(
        centre_px=centre_px,
        diameter_um=2 * radius,
        step=step,
        kind=kind,
    )


def _step(coefficients: NDArray[np.float64], shapes: NDArray[np.float64]) -> float:
    core = coefficients[2:] @ shapes
    return float(core.max(initial=0.0) + core.min(initial=0.0)) / max(float(coefficients[0]), 1.0)


def _polar(grey: NDArray[np.uint8], edge: EdgeFit, x_px: float, y_px: float) -> NDArray[np.float64]:
    # a tilted face shows the core as the same ellipse as the cladding
    stretch = (
        1 + (edge.second[0] * np.cos(2 * _ANGLES) + edge.second[1] * np.sin(2 * _ANGLES)) / edge.radius_px
    )
    distance = stretch[:, None] * _RADII_UM / edge.um_per_px
    x = x_px + np.cos(_ANGLES)[:, None] * distance
    y = y_px + np.sin(_ANGLES)[:, None] * distance
    values = cv2.remap(
        grey, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    out: NDArray[np.float64] = cv2.GaussianBlur(values.astype(np.float32), (0, 0), 0.8).astype(np.float64)
    return out


def _shapes(radius: float, blur_um: float, kind: CoreKind) -> NDArray[np.float64]:
    inside = 1 - ndtr((_RADII_UM - radius) / max(blur_um, 0.2))
    if kind is CoreKind.SINGLE_MODE:
        return f64(inside[None, :])
    return np.stack([inside, inside * np.maximum(1 - (_RADII_UM / radius) ** 2, 0)])


def _solve(
    profile: NDArray[np.float64],
    error: NDArray[np.float64],
    shapes: NDArray[np.float64],
    skip_um: float = 0.0,
) -> tuple[float, NDArray[np.float64]]:
    """Robust least squares, begun without the radii below `skip_um`; the cost counts every radius, capped."""
    basis = np.vstack([np.ones_like(_RADII_UM), _RADII_UM / _REACH_UM, shapes]).T
    weight = np.where(skip_um > _RADII_UM, 1e-3, 1.0) / error
    coefficients = np.zeros(basis.shape[1])
    for _ in range(3 if skip_um else 2):
        coefficients = f64(np.linalg.lstsq(basis * weight[:, None], profile * weight, rcond=None)[0])
        scaled = np.abs(profile - basis @ coefficients) / error
        weight = np.minimum(1.0, 4.0 / np.maximum(scaled, 1e-9)) / error
    scaled = np.minimum(np.abs(profile - basis @ coefficients) / error, 12.0)
    return float((scaled**2).sum()), coefficients


def _offset(
    polar: NDArray[np.float64], slope: NDArray[np.float64], error: NDArray[np.float64]
) -> tuple[float, float]:
    """Offset of the core in micrometres from the first harmonic at each radius.

    An offset leaves the model's slope there, a lamp from one side leaves level times radius: both are fitted, so
    that uneven light doesn't pass for an offset. Clipped residuals keep dirt from pulling.
    """
    profile = np.median(polar, axis=0)
    spread = 1.4826 * np.median(np.abs(polar - profile), axis=0) + 0.2
    residual = np.clip((polar - profile) / spread, -3, 3) * spread
    basis = np.stack([slope, profile * _RADII_UM / _REACH_UM], axis=1) / error[:, None]
    found = []
    for wave in (np.cos(_ANGLES), np.sin(_ANGLES)):
        harmonic = 2 * (residual * wave[:, None]).mean(axis=0) / error
        coefficients = np.linalg.lstsq(basis, harmonic, rcond=None)[0]
        # a harmonic along x of amplitude A means I(r - dx cos) = I - slope dx cos
        found.append(float(np.clip(-coefficients[0], -1, 1)))
    return found[0], found[1]
