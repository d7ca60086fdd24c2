"""What the face would look like clean: lamp times radial profile, both fitted so that dirt doesn't bend them.

A plane and its fit go in; the contrast map and its noise by radius come out. The lamp's slow change is a few
robust harmonics; the profile is the median at each radius, with low harmonics across the cladding edge where the
glue line is wider on one side, and about the core's own centre near the core.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from workstation.endface.arrays import f32, f64
from workstation.endface.plane import (
    CELL_UM,
    HALF_UM,
    MIDDLE,
    POLAR_RADII_UM,
    POLAR_RAYS,
    POLAR_STEP_UM,
    SIDE,
    Plane,
    coordinates,
    polar,
    tilt,
)  # fmt: skip
from workstation.values import CoreKind, Fit

_ANGLES = np.arange(POLAR_RAYS) * (2 * np.pi / POLAR_RAYS)
_BASIS = np.stack(
    [np.ones(POLAR_RAYS), np.cos(_ANGLES), np.sin(_ANGLES), np.cos(2 * _ANGLES), np.sin(2 * _ANGLES)], axis=1
)
_EDGE_BAND_UM = (54.0, 72.0)


@dataclass(frozen=True, slots=True, eq=False)
class Face:
    """The face against its own clean self.

    Attributes
    ----------
    contrast
        float32, (SIDE, SIDE): value over background, less one; 0 outside the frame.
    steepness
        float32, (SIDE, SIDE): relative change of the background per micrometre.
    seen
        bool, (SIDE, SIDE): inside the frame; None where all of it is.
    """

    contrast: NDArray[np.float32]
    steepness: NDArray[np.float32]
    seen: NDArray[np.bool_] | None


def flatten(plane: Plane, fit: Fit) -> Face:
    """Divide a plane by its background.

    Parameters
    ----------
    plane
        The face in micrometres.
    fit
        The fitted fibre; its core, where there is one, has a profile about its own centre.

    Returns
    -------
    Face
    """
    rays = polar(plane.values)
    hidden = None if plane.all_seen else polar(plane.seen.astype(np.float32)) < 1
    lamp_numbers = _lamp(rays, hidden, fit)
    even = (rays / _lamp_rays(lamp_numbers)).astype(np.float32)
    profile = _profile(even, hidden)
    around = _level_around_centre(profile)
    profile = _held_centre(profile, f64(POLAR_RADII_UM), around, fit)
    background = _spread(profile) * _lamp_map(lamp_numbers)
    _edge_band(background, even, hidden, profile)
    if fit.core is not None:
        _core_patch(background, plane, fit, lamp_numbers, around)
    contrast = plane.values / np.maximum(background, 1.0) - 1
    if not plane.all_seen:
        contrast[~plane.seen] = 0
    steepness = _steepness(background)
    return Face(contrast, steepness, None if plane.all_seen else plane.seen)


def _steepness(background: NDArray[np.float32]) -> NDArray[np.float32]:
    half = cv2.resize(background, (SIDE // 2 + 1, SIDE // 2 + 1), interpolation=cv2.INTER_AREA)
    gx = cv2.Sobel(half, cv2.CV_32F, 1, 0, scale=1 / 8 / (2 * CELL_UM))
    gy = cv2.Sobel(half, cv2.CV_32F, 0, 1, scale=1 / 8 / (2 * CELL_UM))
    relative = cv2.magnitude(gx, gy) / np.maximum(half, 1.0)
    return f32(cv2.resize(relative, (SIDE, SIDE), interpolation=cv2.INTER_LINEAR))


def median_by_radius(rays: NDArray[np.float32], hidden: NDArray[np.bool_] | None) -> NDArray[np.float64]:
    """Median at each radius over the rays that the frame shows; a radius wholly hidden takes its neighbour's."""
    columns = np.ascontiguousarray(rays.T)
    if hidden is None:
        out: NDArray[np.float64] = np.median(columns, axis=1).astype(np.float64)
        return out
    columns[hidden.T] = np.inf
    columns.sort(axis=1)
    count = (~hidden).sum(axis=0)
    middle = columns[np.arange(len(columns)), np.maximum(count - 1, 0) // 2].astype(np.float64)
    last = int(np.nonzero(count >= 8)[0].max(initial=0))
    middle[count < 8] = middle[last]
    return f64(middle)


_CENTRE_UM = 10.0
_CENTRE_FREEDOM = 0.06


def _level_around_centre(profile: NDArray[np.float64]) -> float:
    around = (POLAR_RADII_UM >= _CENTRE_UM) & (POLAR_RADII_UM < 1.8 * _CENTRE_UM)
    return float(np.median(profile[around]))


def _held_centre(
    profile: NDArray[np.float64], radii_um: NDArray[np.float64], around: float, fit: Fit
) -> NDArray[np.float64]:
    """Hold the profile near the centre to what cladding and core explain.

    At a small radius the median is no help against dirt: a particle on the core covers the whole circle. There the
    profile may leave the level around it, with the core's own step, by a few hundredths and no more.
    """
    centre = radii_um < _CENTRE_UM
    expected = np.full(int(centre.sum()), around)
    if fit.core is not None and fit.core.kind is CoreKind.SINGLE_MODE:
        inside = 1 - ndtr((radii_um[centre] - fit.core.diameter_um / 2) / max(fit.blur_um, 0.2))
        expected *= 1 + fit.core.step * inside
    held = profile.copy()
    held[centre] = np.clip(
        profile[centre], expected * (1 - _CENTRE_FREEDOM), expected * (1 + _CENTRE_FREEDOM)
    )
    return held


_LAMP_TERMS = 5
_FERRULE_UM = 74.0


def _profile(rays: NDArray[np.float32], hidden: NDArray[np.bool_] | None) -> NDArray[np.float64]:
    """Median at each radius; over the ferrule a parabola through it, each radius weighing what the frame shows."""
    profile = median_by_radius(rays, hidden)
    shown = np.ones(len(profile)) if hidden is None else (~hidden).mean(axis=0)
    ferrule = POLAR_RADII_UM > _FERRULE_UM
    r = (POLAR_RADII_UM[ferrule] - 100.0) / 30.0
    basis = np.stack([np.ones_like(r), r, r * r], axis=1)
    weight = shown[ferrule] * np.sqrt(POLAR_RADII_UM[ferrule])
    if (weight > 0.1).sum() > 12:
        ridge = np.diag([0.0, 1e-3, 1.0]) * weight.sum() * 0.02
        coefficients = np.linalg.solve(
            (basis * weight[:, None]).T @ basis + ridge, (basis * weight[:, None]).T @ profile[ferrule]
        )
        profile[ferrule] = basis @ coefficients
    return profile


def _lamp_basis(u: NDArray[np.float64], v: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    return [u, v, u * u, v * v, u * v]


def _lamp_rays(numbers: NDArray[np.float64]) -> NDArray[np.float64]:
    radius = POLAR_RADII_UM / HALF_UM
    basis = _lamp_basis(_BASIS[:, 1:2] * radius, _BASIS[:, 2:3] * radius)
    out: NDArray[np.float64] = 1 + np.tensordot(numbers, np.stack(basis), axes=1)
    return out


def _lamp(rays: NDArray[np.float32], hidden: NDArray[np.bool_] | None, fit: Fit) -> NDArray[np.float64]:
    """Slow change of the lamp as a parabola over the plane, by iteratively reweighted least squares (Tukey).

    Cladding and ferrule are each taken as of one level; the core and the edge are left out.
    """
    step_a, step_r = 4, 8
    core_um = 4.0 if fit.core is None else fit.core.diameter_um / 2
    cladding = (core_um + 4.0 < POLAR_RADII_UM) & (POLAR_RADII_UM < 57.0)
    ferrule = POLAR_RADII_UM > 69.0
    usable = np.broadcast_to(cladding | ferrule, rays.shape)
    if hidden is not None:
        usable = usable & ~hidden
    n_r = len(POLAR_RADII_UM) // step_r
    shape = (POLAR_RAYS // step_a, step_a, n_r, step_r)
    use = usable[:, : n_r * step_r].reshape(shape).all(axis=(1, 3))
    cells = rays[:, : n_r * step_r].reshape(shape).mean(axis=(1, 3))
    r = POLAR_RADII_UM[: n_r * step_r].reshape(n_r, step_r).mean(1) / HALF_UM
    angles = _ANGLES.reshape(-1, step_a).mean(1)[:, None]
    outside = np.broadcast_to(r * HALF_UM > 62.5, use.shape)[use]
    basis = np.stack(_lamp_basis(np.cos(angles) * r, np.sin(angles) * r), axis=-1)[use]
    values = cells[use].astype(np.float64)
    if outside.sum() < 40 or (~outside).sum() < 20:
        return np.zeros(_LAMP_TERMS)
    values /= np.where(outside, np.median(values[outside]), np.median(values[~outside]))
    basis = np.column_stack([basis, outside, ~outside]).astype(np.float64)
    # an inner ring has fewer cells' worth of area than its number of rays says
    area = np.sqrt(np.broadcast_to(r, use.shape)[use])
    ridge = np.diag([1e-6, 1e-6, 1e-5, 1e-5, 1e-5, 0.0, 0.0]) * len(values)
    coefficients = np.zeros(_LAMP_TERMS + 2)
    coefficients[-2:] = 1.0
    for _ in range(8):
        residual = values - basis @ coefficients
        spread = np.where(outside, _robust_spread(residual[outside]), _robust_spread(residual[~outside]))
        scaled = residual / (4.0 * spread)
        weight = np.where(np.abs(scaled) < 1, (1 - scaled**2) ** 2, 0) * area / spread**2
        weight /= weight.max(initial=1e-12)
        coefficients = np.linalg.solve(
            (basis * weight[:, None]).T @ basis + ridge, (basis * weight[:, None]).T @ values
        )
    return coefficients[:_LAMP_TERMS]


def _robust_spread(values: NDArray[np.float64]) -> float:
    return 1.4826 * float(np.median(np.abs(values))) + 2e-4


def _lamp_map(numbers: NDArray[np.float64]) -> NDArray[np.float32]:
    x, y, _ = coordinates()
    u, v = x / np.float32(HALF_UM), y / np.float32(HALF_UM)
    a, b, c, d, e = (np.float32(n) for n in numbers)
    return (1 + a * u + c * u * u) + (b * v + d * v * v) + (e * u) * v


def _radius_index() -> NDArray[np.int32]:
    return (coordinates()[2] * np.float32(1 / _FINE_UM)).astype(np.int32)


_FINE_UM = 0.05
_RADIUS_INDEX = _radius_index()


def _spread(profile: NDArray[np.float64]) -> NDArray[np.float32]:
    """Lay a radial profile over the plane."""
    fine = (np.arange(int(_RADIUS_INDEX.max()) + 1) + 0.5) * _FINE_UM
    table = np.interp(fine, POLAR_RADII_UM, profile).astype(np.float32)
    return f32(table[_RADIUS_INDEX])


def _edge_band(
    background: NDArray[np.float32],
    even: NDArray[np.float32],
    hidden: NDArray[np.bool_] | None,
    profile: NDArray[np.float64],
) -> None:
    """Add low harmonics around the cladding edge to the background, in place."""
    first, last = (int(r / POLAR_STEP_UM) for r in _EDGE_BAND_UM)
    ratio = (even[:, first:last] / np.maximum(profile[first:last], 1.0) - 1).astype(np.float64)
    weight = np.ones_like(ratio) if hidden is None else (~hidden[:, first:last]).astype(np.float64)
    seen = weight > 0
    coefficients = np.zeros((last - first, 5))
    for _ in range(6):
        normal = np.einsum("ai,ar,aj->rij", _BASIS, weight, _BASIS, optimize=True) + 1e-3 * np.eye(5)
        right = np.einsum("ai,ar->ri", _BASIS, weight * ratio)
        coefficients = np.linalg.solve(normal, right[..., None])[..., 0]
        residual = ratio - _BASIS @ coefficients.T
        spread = 1.4826 * np.median(np.abs(residual), axis=0) + 1e-4
        scaled = residual / (4.0 * spread)
        weight = np.where((np.abs(scaled) < 1) & seen, (1 - scaled**2) ** 2, 0)
    # fade in and out so that the band has no edge of its own
    fade = np.clip(
        np.minimum(np.arange(last - first) + 1, last - first - np.arange(last - first)) / 8.0, 0, 1
    )
    coefficients *= fade[:, None]
    where, columns, basis = _band_cells()
    correction = (np.take(coefficients.astype(np.float32), columns, axis=0) * basis).sum(axis=1)
    flat = background.reshape(-1)
    flat[where] *= 1 + correction


def _band_cells() -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float32]]:
    global _BAND
    if _BAND is None:
        x, y, radius = coordinates()
        inside = (radius >= _EDGE_BAND_UM[0]) & (radius < _EDGE_BAND_UM[1] - POLAR_STEP_UM)
        where = np.flatnonzero(inside)
        r = radius.reshape(-1)[where]
        c = np.broadcast_to(x, radius.shape).reshape(-1)[where] / r
        s = np.broadcast_to(y, radius.shape).reshape(-1)[where] / r
        basis = np.stack([np.ones_like(c), c, s, c * c - s * s, 2 * c * s], axis=1).astype(np.float32)
        columns = (r / POLAR_STEP_UM).astype(np.int64) - int(_EDGE_BAND_UM[0] / POLAR_STEP_UM)
        _BAND = (where, columns, basis)
    return _BAND


_BAND: tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float32]] | None = None


def _core_patch(
    background: NDArray[np.float32], plane: Plane, fit: Fit, lamp_numbers: NDArray[np.float64], around: float
) -> None:
    """Replace the background near the core by the profile about the core's own centre, in place."""
    assert fit.core is not None
    ox, oy = np.linalg.solve(tilt(fit), fit.to_um(*fit.core.centre_px))
    # past the core's edge on all sides, also where the profile about the cladding is smeared by the core's offset
    reach = fit.core.diameter_um / 2 + max(3.0, 4 * fit.blur_um) + float(np.hypot(ox, oy)) + 2.0
    half = int((reach + 2) / CELL_UM)
    ci, cj = MIDDLE + round(oy / CELL_UM), MIDDLE + round(ox / CELL_UM)
    window = (slice(ci - half, ci + half + 1), slice(cj - half, cj + half + 1))
    lamp = _lamp_map(lamp_numbers)[window]
    patch = plane.values[window] / lamp
    x = (np.arange(cj - half, cj + half + 1) - MIDDLE) * CELL_UM - ox
    y = (np.arange(ci - half, ci + half + 1) - MIDDLE) * CELL_UM - oy
    distance = np.hypot(x[None, :], y[:, None])
    step = 0.25
    count = int(reach / step) + 2
    angles = np.arange(180) * (2 * np.pi / 180)
    radii = (np.arange(count) + 0.5) * step
    at_x = (cj - half, ci - half)
    map_x = (MIDDLE + (ox + np.cos(angles)[:, None] * radii) / CELL_UM - at_x[0]).astype(np.float32)
    map_y = (MIDDLE + (oy + np.sin(angles)[:, None] * radii) / CELL_UM - at_x[1]).astype(np.float32)
    rays = cv2.remap(
        patch.astype(np.float32), map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    profile = np.median(rays, axis=0)
    # few cells share a small radius: smooth the profile there with what the optics could not have resolved
    smooth = cv2.GaussianBlur(profile[None, :], (0, 0), max(0.5, 0.5 * fit.blur_um / step))[0]
    few = np.clip((5.0 - radii) / 3.0, 0, 1)
    smooth = _held_centre(f64(few * smooth + (1 - few) * profile), f64(radii), around, fit)
    blend = np.clip((reach - distance) / 2.0, 0, 1).astype(np.float32)
    own = np.interp(distance, radii, smooth).astype(np.float32) * lamp
    background[window] = background[window] * (1 - blend) + own * blend
