"""The cladding edge, fitted: centre, diameter, blur and how well the model holds.

A grey picture and a candidate circle go in; an `EdgeFit` comes out, or None where no edge holds. Idea: across the
edge a face is cladding level, dark glue line, ferrule level, all blurred by one Gaussian. The mean radial profile
gives the shape of that edge in one least-squares fit; each ray's displacement against the shape then gives centre,
radius and ellipticity as harmonics of the angle, with Tukey's weights (Beaton and Tukey, Technometrics 16, 147,
1974) so that dirt across the edge doesn't pull.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.endface.arrays import f32, f64
from workstation.endface.coarse import Circle
from workstation.endface.edge_model import (
    GLUE_SHARE,
    GLUE_WIDTH_UM,
    MEAN_ONLY,
    NAMES,
    RAYS,
    EdgeShape,
    edge_model,
    solve_edge,
    waves,
)

CLADDING_RADIUS_UM = 62.5  # half of 125 µm, ITU-T G.652 (11/2016) and IEC 60793-2-10, from memory
_ANGLES = np.arange(RAYS) * (2 * np.pi / RAYS)
_COS, _SIN = np.cos(_ANGLES), np.sin(_ANGLES)
_SECTORS = 24
_SECTOR_ANGLES = _ANGLES.reshape(_SECTORS, -1).mean(axis=1)
_REACH_UM = 7.0
# Window (share of the radius) and harmonics of each pass of the step filter.
_PASSES = ((0.15, 1), (0.12, 3), (0.07, 3), (0.05, 5))
_QUICK_PASSES = ((0.12, 3), (0.05, 5))
_HARMONICS = np.stack([np.ones(RAYS), _COS, _SIN, np.cos(2 * _ANGLES), np.sin(2 * _ANGLES)], axis=1)


@dataclass(frozen=True, slots=True)
class EdgeFit:
    """A circle, nearly, whose edge the model describes.

    Attributes
    ----------
    x_px, y_px, radius_px
        Centre and mean radius.
    second
        Cosine and sine amplitude of the second harmonic of the radius in pixels: the ellipse.
    blur_um
        Blur (standard deviation), with the radius taken as 62.5 µm.
    inner, outer
        Levels of cladding and ferrule in grey levels.
    support
        Fraction of the visible rays whose edge lies where the fit has it.
    scatter_um
        Robust standard deviation of the rays' edges about the fit.
    inner_grain, outer_grain
        Relative texture on either side.
    dip
        How far the mean profile dips below the darker side at the edge, relative to it: the glue line as seen.
    """

    x_px: float
    y_px: float
    radius_px: float
    second: tuple[float, float]
    blur_um: float
    inner: float
    outer: float
    support: float
    scatter_um: float
    inner_grain: float
    outer_grain: float
    dip: float

    @property
    def um_per_px(self) -> float:
        """Micrometres per pixel with the cladding as ruler."""
        return CLADDING_RADIUS_UM / self.radius_px


def refine(grey: NDArray[np.uint8], circle: Circle, *, rounds: int = 2) -> EdgeFit | None:
    """Fit the edge of a candidate circle.

    Parameters
    ----------
    grey
        uint8, shape (height, width).
    circle
        Where to look, good to about 8 % of its radius.
    rounds
        How often the profile and the rays are fitted in turn.

    Returns
    -------
    EdgeFit or None
        None where most rays agree on no edge.
    """
    located = _locate(grey, circle, _PASSES)
    if located is None:
        return None
    harmonics, centre, support, spread_px = located
    if support < 0.4 or spread_px * CLADDING_RADIUS_UM > 2.5 * harmonics[0]:
        return None  # so far from a circle that no closer look could make it one
    fit = None
    for _ in range(rounds):
        step = _fine(grey, centre, harmonics)
        if step is None:
            return None
        centre, harmonics, fit = step
    return fit


def follow(grey: NDArray[np.uint8], circle: Circle) -> EdgeFit | None:
    """Fit the edge quickly where it was a moment ago, for the live picture.

    The centre comes from a step filter, radius and blur from one mean profile; neither the glue line's own centre
    nor each ray's displacement is fitted. Good to a few tenths of a micrometre.

    Parameters
    ----------
    grey
        uint8, shape (height, width).
    circle
        Where the fibre was, good to about 12 % of its radius.

    Returns
    -------
    EdgeFit or None
        None where most rays agree on no edge.
    """
    located = _locate(grey, circle, _QUICK_PASSES)
    if located is None:
        return None
    harmonics, (x_px, y_px), support, spread_px = located
    um = CLADDING_RADIUS_UM / harmonics[0]
    u = np.linspace(-_REACH_UM, _REACH_UM, 80)
    values, seen = _sample(grey, (x_px, y_px), _HARMONICS @ harmonics, u / um)
    if seen.sum() < 60:
        return None
    values = values / _ray_gain(values, u, seen)[:, None]
    rays = values[seen]
    some = rays[::2]
    start = _first_guess(u, some, um)
    shape = solve_edge(
        u, _trimmed_mean(some)[None, :], np.ones(1), np.zeros(1), start, MEAN_ONLY, _scatter(rays)
    )
    if abs(shape["shift"]) > 6.0:
        return None
    harmonics[0] += shape["shift"] / um
    return _edge_fit((x_px, y_px), harmonics, shape, um, support, spread_px * um, some, u)


def _scatter(rays: NDArray[np.float32]) -> NDArray[np.float32]:
    return f32(1.4826 * np.median(np.abs(rays - np.median(rays, axis=0)), axis=0))


def _sample(
    grey: NDArray[np.uint8],
    centre: tuple[float, float],
    radius: NDArray[np.float64],
    offsets: NDArray[np.float64],
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Sample rays at radius + offsets; shape (rays, offsets), and which rays lie wholly in the frame."""
    height, width = grey.shape
    distance = radius[:, None] + offsets[None, :]
    x = centre[0] + distance * _COS[:, None]
    y = centre[1] + distance * _SIN[:, None]
    seen = (x.min(1) >= 0) & (x.max(1) <= width - 1) & (y.min(1) >= 0) & (y.max(1) <= height - 1)
    x0, y0 = max(0, int(x.min()) - 1), max(0, int(y.min()) - 1)
    x1, y1 = min(width, int(x.max()) + 3), min(height, int(y.max()) + 3)
    if x1 - x0 < 2 or y1 - y0 < 2:
        return np.zeros(x.shape, np.float32), np.zeros(RAYS, bool)
    crop = grey[y0:y1, x0:x1].astype(np.float32)
    values = cv2.remap(
        crop, (x - x0).astype(np.float32), (y - y0).astype(np.float32), cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return f32(values), seen


def _locate(
    grey: NDArray[np.uint8], circle: Circle, passes: tuple[tuple[float, int], ...]
) -> tuple[NDArray[np.float64], tuple[float, float], float, float] | None:
    """Find the edge on each ray by a step filter and fit the harmonics, the window narrowing each time."""
    radius = circle.radius_px
    count = 128
    offsets = np.linspace(-0.2, 0.2, count) * radius
    values, seen = _sample(grey, (circle.x_px, circle.y_px), np.full(RAYS, radius), offsets)
    if seen.mean() < 0.2:
        return None
    wrapped = np.concatenate([values[-2:], values, values[:2]])
    values = f32(cv2.blur(wrapped, (1, 5))[2:-2])
    half = 7
    sums = cv2.blur(values, (half, 1), borderType=cv2.BORDER_REPLICATE)
    step = np.full_like(values, -1e9)
    reach = half // 2 + 1
    step[:, reach:-reach] = np.sign(circle.score) * (sums[:, 2 * reach :] - sums[:, : -2 * reach])
    harmonics = np.zeros(5)
    for window, terms in passes:
        near = np.abs(offsets[None, :] - (_HARMONICS @ harmonics)[:, None]) <= window * radius
        masked = np.where(near, step, -1e9)
        best = masked.argmax(1)
        height = masked[np.arange(RAYS), best]
        good = seen & (height > 0.3 * max(float(np.median(height[seen])), 1.0))
        if good.sum() < 0.3 * seen.sum() or good.sum() < 24:
            return None
        harmonics[:terms], spread, inlier = _robust(_HARMONICS[:, :terms], offsets[best], good, 0.01 * radius)
    total = harmonics.copy()
    total[0] += radius
    centre = (circle.x_px + total[1], circle.y_px + total[2])
    total[1] = total[2] = 0.0
    return total, centre, float(inlier.sum() / seen.sum()), spread


def _robust(
    basis: NDArray[np.float64], values: NDArray[np.float64], good: NDArray[np.bool_], floor: float
) -> tuple[NDArray[np.float64], float, NDArray[np.bool_]]:
    """Least squares with Tukey's biweight; returns coefficients, robust spread and the inliers."""
    coefficients = np.zeros(basis.shape[1])
    coefficients[0] = np.median(values[good])
    spread = floor
    for _ in range(8):
        residual = values - basis @ coefficients
        spread = max(1.4826 * float(np.median(np.abs(residual[good]))), 1e-4)
        scaled = residual / (4.7 * max(spread, floor * 0.05))
        weight = np.where(good & (np.abs(scaled) < 1), (1 - scaled**2) ** 2, 0.0)
        if np.count_nonzero(weight) < 4 * basis.shape[1]:
            break
        normal = (basis * weight[:, None]).T @ basis + 1e-9 * np.eye(basis.shape[1])
        before = coefficients
        coefficients = f64(np.linalg.solve(normal, (basis * weight[:, None]).T @ values))
        if np.abs(coefficients - before).max() < 1e-3 * spread:
            break
    inlier = good & (np.abs(values - basis @ coefficients) < max(3.5 * spread, floor))
    return coefficients, spread, inlier


def _fine(
    grey: NDArray[np.uint8], centre: tuple[float, float], harmonics: NDArray[np.float64]
) -> tuple[tuple[float, float], NDArray[np.float64], EdgeFit] | None:
    """One round: the mean profile, which rays follow it, and then all numbers of the edge together."""
    um = CLADDING_RADIUS_UM / harmonics[0]
    count = int(np.clip(2 * _REACH_UM / um * 1.6, 80, 120))
    u = np.linspace(-_REACH_UM, _REACH_UM, count)
    values, seen = _sample(grey, centre, _HARMONICS @ harmonics, u / um)
    if seen.sum() < 60:
        return None
    values = values / _ray_gain(values, u, seen)[:, None]
    rays = values[seen]
    start = _first_guess(u, rays, um)
    scatter = _scatter(rays)
    mean = solve_edge(u, _trimmed_mean(rays)[None, :], np.ones(1), np.zeros(1), start, MEAN_ONLY, scatter)
    shifts, good = _ray_shifts(values, u, mean, seen)
    _, spread, inlier = _robust(_HARMONICS, shifts, good, 0.25)
    if inlier.sum() < max(40, 0.4 * seen.sum()) or spread > 1.5:
        return None
    sectors, weight = _sectors(values, inlier)
    every = np.ones(len(NAMES), bool)
    shape = solve_edge(u, sectors, weight, _SECTOR_ANGLES, mean, every, scatter)
    weight = weight * _trust(_sector_misfit(shape, u, sectors, scatter))
    shape = solve_edge(u, sectors, weight, _SECTOR_ANGLES, shape, every, scatter)
    radius_wave = shape.radius_wave / um
    if abs(shape["shift"]) > 6.0 or not 0.02 < shape.blur < 40.0:
        return None
    updated = harmonics.copy()
    updated[0] += radius_wave[0]
    updated[3:] += radius_wave[3:]
    moved = (centre[0] + radius_wave[1], centre[1] + radius_wave[2])
    support = float(inlier.sum() / seen.sum())
    fit = _edge_fit(moved, updated, shape, um, support, spread, rays, u)
    return moved, updated, fit


def _edge_fit(
    centre: tuple[float, float],
    harmonics: NDArray[np.float64],
    shape: EdgeShape,
    um: float,
    support: float,
    spread_um: float,
    rays: NDArray[np.float32],
    u: NDArray[np.float64],
) -> EdgeFit:
    inner_part, outer_part = u < shape["shift"] - 2.0, u > shape["shift"] + shape["glue_width"] + 2.0
    interpolation = um * um * (1 / 6 + 1 / 12)  # variance that bilinear sampling and the pixel's area add
    return EdgeFit(
        x_px=float(centre[0]),
        y_px=float(centre[1]),
        radius_px=float(harmonics[0]),
        second=(float(harmonics[3]), float(harmonics[4])),
        blur_um=float(np.sqrt(max(shape.blur**2 - interpolation, 0.01))),
        inner=shape["inner"],
        outer=shape["outer"],
        support=support,
        scatter_um=spread_um,
        inner_grain=_grain(rays[:, inner_part], float(u[1] - u[0])),
        outer_grain=_grain(rays[:, outer_part], float(u[1] - u[0])),
        dip=_dip(rays, u, shape),
    )


def _sector_misfit(
    shape: EdgeShape, u: NDArray[np.float64], sectors: NDArray[np.float64], scatter: NDArray[np.float32]
) -> NDArray[np.float64]:
    residual = edge_model(shape.numbers, u, *waves(shape.numbers, _SECTOR_ANGLES))[0] - sectors
    out: NDArray[np.float64] = np.sqrt(np.mean((residual / (scatter + 1.0)) ** 2, axis=1))
    return out


def _trust(misfit: NDArray[np.float64]) -> NDArray[np.float64]:
    """Less weight for a sector that the model describes worse than most: dirt lies across its edge."""
    scaled = misfit / (2.5 * float(np.median(misfit)) + 1e-9)
    out: NDArray[np.float64] = np.where(scaled < 1, (1 - scaled**2) ** 2, 1e-3)
    return out


def _trimmed_mean(rays: NDArray[np.float32]) -> NDArray[np.float32]:
    cut = rays.shape[0] // 5
    middle = np.partition(rays, (cut, rays.shape[0] - cut - 1), axis=0)[cut : rays.shape[0] - cut]
    out: NDArray[np.float32] = middle.mean(axis=0)
    return out


def _grain(part: NDArray[np.float32], step_um: float) -> float:
    """Relative texture of a side, a micrometre's mean at a time so that the camera's own noise counts little."""
    length = max(1, round(1.2 / step_um))
    if part.shape[1] < length + 2:
        return 0.0
    level = max(float(np.median(part)), 1.0)
    mean = f32(cv2.blur(part, (length, 1)))[:, length // 2 : part.shape[1] - length // 2]
    return float(1.4826 * np.median(np.abs(mean[3:] - mean[:-3])) / np.sqrt(2) / level)


def _dip(rays: NDArray[np.float32], u: NDArray[np.float64], shape: EdgeShape) -> float:
    profile = _trimmed_mean(rays)
    near = np.abs(u - shape["shift"]) < 3.0
    sides = min(float(np.median(profile[u < -3.5])), float(np.median(profile[u > 3.5])))
    return float((sides - profile[near].min()) / max(sides, 1.0))


def _ray_gain(
    values: NDArray[np.float32], u: NDArray[np.float64], seen: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Slow change of the lamp around the edge, as low harmonics of both sides' levels."""
    level = np.zeros(RAYS)
    for part in (u < -3.0, u > 3.0):
        side = values[:, part].mean(axis=1).astype(np.float64)
        level += side / max(float(np.median(side[seen])), 1.0) / 2
    coefficients = _robust(_HARMONICS, level, seen, 0.05)[0]
    return np.clip(_HARMONICS @ coefficients, 0.3, 3.0).astype(np.float32)


def _sectors(
    values: NDArray[np.float32], inlier: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean profile of the inlying rays of each sector, and how full each sector is."""
    per = RAYS // _SECTORS
    kept = np.where(inlier[:, None], values, 0).reshape(_SECTORS, per, -1).sum(1)
    count = inlier.reshape(_SECTORS, per).sum(1)
    return (kept / np.maximum(count, 1)[:, None]).astype(np.float64), count / per


def _ray_shifts(
    values: NDArray[np.float32], u: NDArray[np.float64], shape: EdgeShape, seen: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Displacement of each ray's edge against the profile, by three Gauss-Newton steps."""
    at_edge = u - shape["shift"]
    near = np.abs(at_edge - shape["glue_width"] / 2) < max(2.5, 2.5 * shape.blur)
    v, rays = at_edge[near], values[:, near].astype(np.float64)
    rays = rays - rays.mean(axis=1, keepdims=True)  # a level that differs on a ray isn't a displacement
    wider = np.full((RAYS, 1), shape["glue_width"])
    shift = np.zeros(RAYS)
    h = 0.02
    for _ in range(3):
        at = v[None, :] - shift[:, None]  # the shape moved out by `shift` is the shape read at v - shift
        model = shape.profile(at, wider)
        slope = (shape.profile(at + h, wider) - shape.profile(at - h, wider)) / (2 * h)
        difference = model - model.mean(axis=1, keepdims=True) - rays
        slope -= slope.mean(axis=1, keepdims=True)
        move = (difference * slope).sum(1) / np.maximum((slope**2).sum(1), 1e-9)
        shift = np.clip(shift + np.clip(move, -1.5, 1.5), -3.0, 3.0)
    model = shape.profile(v[None, :] - shift[:, None], wider)
    model -= model.mean(axis=1, keepdims=True)
    power = (model**2).sum(1)
    strength = (rays * model).sum(1) / np.maximum(power, 1e-9)
    agreement = strength * np.sqrt(power / np.maximum((rays**2).sum(1), 1e-9))
    return shift, seen & (agreement > 0.4) & (strength > 0.3) & (np.abs(shift) < 2.9)


def _first_guess(u: NDArray[np.float64], rays: NDArray[np.float32], um: float) -> EdgeShape:
    third = len(u) // 3
    inner, outer = float(np.median(rays[:, :third])), float(np.median(rays[:, -third:]))
    numbers = np.zeros(len(NAMES))
    for name, value in (
        ("glue_width", GLUE_WIDTH_UM),
        ("log_blur", np.log(max(0.6, um))),
        ("inner", inner),
        ("glue", GLUE_SHARE * min(inner, outer)),
        ("outer", outer),
    ):
        numbers[NAMES.index(name)] = value
    return EdgeShape(numbers)
