"""One plane in micrometres: every later kernel, size and zone is a constant, whatever the camera.

A grey picture and its fit go in; a square float32 plane of fixed cells centred on the cladding comes out. A
circle that the scope shows as an ellipse becomes a circle again. `polar` reads any map of the plane along
radii, with the indices made once.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.endface.arrays import f32, f64
from workstation.values import Fit

CELL_UM = 0.25
HALF_UM = 131.0
SIDE = 2 * int(HALF_UM / CELL_UM) + 1  # odd: the cladding's centre is the middle cell's centre
MIDDLE = SIDE // 2
# Below this ratio of the axes a face counts as seen straight on; 8 degrees of an angled face make 1.0098.
_STRAIGHT = 1.002
POLAR_RAYS = 256
POLAR_STEP_UM = 0.25
POLAR_RADII_UM = (np.arange(int((HALF_UM - 0.5) / POLAR_STEP_UM)) + 0.5) * POLAR_STEP_UM


@dataclass(frozen=True, slots=True, eq=False)
class Plane:
    """The face in micrometres.

    Attributes
    ----------
    values
        float32, (SIDE, SIDE), grey levels.
    seen
        bool, same shape: inside the frame.
    sampling_um
        Standard deviation of the blur that pixels and resampling add, in micrometres.
    all_seen
        Whether the whole plane lies inside the frame.
    """

    values: NDArray[np.float32]
    seen: NDArray[np.bool_]
    sampling_um: float
    all_seen: bool


def to_plane(grey: NDArray[np.uint8], fit: Fit) -> Plane:
    """Resample the region around the fibre.

    Parameters
    ----------
    grey
        uint8, shape (height, width).
    fit
        The fitted cladding.

    Returns
    -------
    Plane
    """
    um = fit.um_per_px
    height, width = grey.shape
    reach = int(HALF_UM / um) + 4
    x0, y0 = max(0, int(fit.centre_px[0]) - reach), max(0, int(fit.centre_px[1]) - reach)
    x1, y1 = min(width, int(fit.centre_px[0]) + reach), min(height, int(fit.centre_px[1]) + reach)
    crop = f32(grey[y0:y1, x0:x1])
    extra = 0.0
    if um < 0.75 * CELL_UM:
        # finer pixels than cells: take the mean over a cell, so that no noise is folded in
        sigma_px = 0.4 * CELL_UM / um
        crop = f32(cv2.GaussianBlur(crop, (0, 0), sigma_px))
        extra = (sigma_px * um) ** 2
    step = CELL_UM / um
    turn = tilt(fit) * step
    offset = np.array([fit.centre_px[0] - x0, fit.centre_px[1] - y0]) - turn @ np.array([MIDDLE, MIDDLE])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    values = cv2.warpAffine(
        crop, np.column_stack([turn, offset]), (SIDE, SIDE), flags=flags, borderMode=cv2.BORDER_REPLICATE
    )
    seen = _seen(turn, fit.centre_px, (width, height))
    sampling_um = float(np.sqrt(um * um * (1 / 6 + 1 / 12) + extra))
    return Plane(f32(values), seen, sampling_um, bool(seen.all()))


def tilt(fit: Fit) -> NDArray[np.float64]:
    """Return the matrix (2, 2) that takes the face, where the cladding is a circle, to the picture, in micrometres.

    A tilted face shows its circles as ellipses; the areas are kept. The identity for a face seen straight on.
    """
    if fit.axis_ratio < _STRAIGHT:
        return np.eye(2)
    c, s = np.cos(fit.axis_angle_rad), np.sin(fit.axis_angle_rad)
    axes = np.array([[c, -s], [s, c]])
    long = np.sqrt(fit.axis_ratio)
    return f64(axes @ np.diag([long, 1 / long]) @ axes.T)


def _seen(
    turn: NDArray[np.float64], centre_px: tuple[float, float], size: tuple[int, int]
) -> NDArray[np.bool_]:
    along = (np.arange(SIDE) - MIDDLE).astype(np.float32)
    x = centre_px[0] + turn[0, 0] * along[None, :] + turn[0, 1] * along[:, None]
    y = centre_px[1] + turn[1, 0] * along[None, :] + turn[1, 1] * along[:, None]
    return np.asarray((x >= 0) & (x <= size[0] - 1) & (y >= 0) & (y <= size[1] - 1), bool)


@lru_cache(maxsize=1)
def coordinates() -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Return x, y (as a row and a column) and the radius (SIDE, SIDE) of the cells in micrometres."""
    axis = ((np.arange(SIDE) - MIDDLE) * CELL_UM).astype(np.float32)
    return axis[None, :], axis[:, None], np.hypot(axis[None, :], axis[:, None]).astype(np.float32)


@lru_cache(maxsize=8)
def _polar_map(rays: int, step_um: float, count: int) -> tuple[NDArray[np.int16], NDArray[np.uint16]]:
    angles = np.arange(rays) * (2 * np.pi / rays)
    radii = (np.arange(count) + 0.5) * step_um / CELL_UM
    x = (MIDDLE + np.cos(angles)[:, None] * radii).astype(np.float32)
    y = (MIDDLE + np.sin(angles)[:, None] * radii).astype(np.float32)
    fixed, weights = cv2.convertMaps(x, y, cv2.CV_16SC2)
    return fixed, weights


def polar(
    values: NDArray[np.float32], rays: int = POLAR_RAYS, step_um: float = POLAR_STEP_UM
) -> NDArray[np.float32]:
    """Read a map of the plane along rays from the cladding's centre.

    Parameters
    ----------
    values
        float32, (SIDE, SIDE).
    rays, step_um
        How many rays, and the step along them; the first sample lies half a step from the centre.

    Returns
    -------
    ndarray of float32, shape (rays, int((HALF_UM - 0.5) / step_um))
    """
    fixed, weights = _polar_map(rays, step_um, int((HALF_UM - 0.5) / step_um))
    return f32(cv2.remap(values, fixed, weights, cv2.INTER_LINEAR))
