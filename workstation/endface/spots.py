"""Spots, dark and bright, far below what a threshold on grey levels sees.

A contrast map goes in; the places where something is come out, as seeds by sign, with the noise that they were
held against. Idea: differences of Gaussians at several scales are matched filters for round spots (Lindeberg, Int.
J. Computer Vision 30, 79, 1998). Each response is divided by its own robust spread at that radius, so that the
threshold is a false-alarm rate, whatever the grain, the JPEG or the camera; where the background is steep, what a
small error of the fit would leave there is added to the noise.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.endface.arrays import f32
from workstation.endface.background import Face, median_by_radius
from workstation.endface.plane import CELL_UM, HALF_UM, MIDDLE, POLAR_RADII_UM, SIDE, coordinates, polar
from workstation.endface.unblur import disc_depth

# Standard deviations of the matched filters in micrometres, each with the shrink at which it is computed.
SCALES_UM = ((0.4, 1), (0.8, 1), (1.6, 2), (3.2, 4), (6.4, 8))
_SURROUND = 2.5
# A normal deviate of 6 is one false alarm in 10^9 places; a plane has some 10^5 independent ones, and grain and
# JPEG have longer tails than the normal law.
THRESHOLD = 6.0
_PLAIN_SHARE = 0.6
# What is expected this many deviations above the threshold is found in 98 of 100 pictures.
_MARGIN = 2.0
# How far the fitted background may be off sideways, in micrometres.
POSITION_ERROR_UM = 0.06
_NOISE_STEP_UM = 1.0
# Deviations below this are the picture's, larger ones may be dirt.
_SMALL_CONTRAST = 0.02
# Compression rings near the cladding's edge more than elsewhere.
_CLADDING_BANDS_UM = ((0.0, 30.0), (30.0, 48.0), (48.0, 54.0), (54.0, 60.0))
_NOISE_RAYS = 160


@dataclass(frozen=True, slots=True, eq=False)
class Seeds:
    """Where something is.

    Attributes
    ----------
    dark, bright
        bool, (SIDE, SIDE).
    noise
        float32, (SIDE, SIDE): standard deviation of the contrast after a 0.4 µm Gaussian.
    smooth
        float32, (SIDE, SIDE): the contrast after a 0.4 µm Gaussian.
    filters
        One entry a scale: what a spot on the cladding is held against there.
    """

    dark: NDArray[np.bool_]
    bright: NDArray[np.bool_]
    noise: NDArray[np.float32]
    smooth: NDArray[np.float32]
    filters: tuple["Filter", ...]


@dataclass(frozen=True, slots=True)
class Filter:
    """A matched filter as it stands on the cladding of one picture.

    Attributes
    ----------
    sigma_um
        Standard deviation of its Gaussian.
    noise, plain_noise
        Standard deviation of its answer, and of the contrast after its Gaussian alone.
    """

    sigma_um: float
    noise: float
    plain_noise: float

    def shows(self, diameter_um: float, contrast: float, blur_um: float) -> bool:
        """Whether a disc stands so clear of this noise that the noise itself seldom hides it."""
        near = disc_depth(diameter_um, math.hypot(blur_um, self.sigma_um))
        around = disc_depth(diameter_um, math.hypot(blur_um, _SURROUND * self.sigma_um))
        answer, plain = contrast * (near - around) / self.noise, contrast * near / self.plain_noise
        return answer > THRESHOLD + _MARGIN and plain > _PLAIN_SHARE * THRESHOLD + _MARGIN


def find_seeds(face: Face) -> Seeds:
    """Find where the face differs from its background.

    Parameters
    ----------
    face
        The contrast map and the steepness of its background.

    Returns
    -------
    Seeds
    """
    dark = np.zeros((SIDE, SIDE), bool)
    bright = np.zeros((SIDE, SIDE), bool)
    first = None
    filters = []
    hidden = hidden_rays(face)
    for sigma_um, shrink in SCALES_UM:
        small = face.contrast if shrink == 1 else _shrink(face.contrast, shrink)
        sigma = sigma_um / (CELL_UM * shrink)
        centre = f32(cv2.GaussianBlur(small, (0, 0), sigma))
        around = f32(cv2.GaussianBlur(small, (0, 0), sigma * _SURROUND))
        response = centre - around
        error = _steepness_error(face, sigma_um, shrink)
        noise = noise_map(response, error, hidden, shrink)
        z = response / noise
        plain = noise_map(centre, error, hidden, shrink)
        if first is None:
            first = (plain, centre)
        filters.append(Filter(sigma_um, _on_cladding(noise), _on_cladding(plain)))
        # the surround of a strong spot answers with the other sign: what is there must itself differ
        z_plain = centre / plain
        for sign, found in ((-1, dark), (1, bright)):
            hit = (sign * z > THRESHOLD) & (sign * z_plain > _PLAIN_SHARE * THRESHOLD)
            if hit.any():
                found |= hit if shrink == 1 else _grow(hit, shrink)
    assert first is not None
    return Seeds(dark, bright, *first, tuple(filters))


def _on_cladding(noise: NDArray[np.float32]) -> float:
    """Median noise between 20 and 50 µm from the centre, along one radius of a map of any shrink."""
    middle = noise.shape[0] // 2
    cells = middle / MIDDLE
    return float(np.median(noise[middle, middle + int(80 * cells) : middle + int(200 * cells)]))


def _shrink(values: NDArray[np.float32], by: int) -> NDArray[np.float32]:
    """Shrink so that the middle cell stays the middle: sample every `by`-th cell after a mean over as many."""
    mean = cv2.blur(values, (by + 1 - by % 2, by + 1 - by % 2))
    start = (SIDE // 2) % by
    return np.ascontiguousarray(mean[start::by, start::by])


def _grow(hit: NDArray[np.bool_], by: int) -> NDArray[np.bool_]:
    start = (SIDE // 2) % by
    index = np.clip((np.arange(SIDE) - start + by // 2) // by, 0, hit.shape[0] - 1)
    return hit[np.ix_(index, index)]


def _steepness_error(face: Face, sigma_um: float, shrink: int) -> NDArray[np.float32]:
    by = max(shrink, 2)
    start = (SIDE // 2) % by
    small = np.ascontiguousarray(face.steepness[start::by, start::by])
    blurred = f32(cv2.GaussianBlur(small, (0, 0), max(0.3, sigma_um / (CELL_UM * by))))
    return f32(POSITION_ERROR_UM * (blurred if shrink > 1 else _stretch(blurred)))


def hidden_rays(face: Face) -> NDArray[np.bool_] | None:
    """Return which samples of the noise's rays lie outside the frame; None where none does."""
    if face.seen is None:
        return None
    return polar(face.seen.astype(np.float32), _NOISE_RAYS, _NOISE_STEP_UM) < 1


def noise_by_radius(
    values: NDArray[np.float32], hidden: NDArray[np.bool_] | None = None
) -> NDArray[np.float64]:
    """Return the robust spread of a plane's map at each radius of `POLAR_RADII_UM`."""
    rays = polar(values, _NOISE_RAYS, _NOISE_STEP_UM)
    middle = median_by_radius(rays, hidden)
    spread = 1.4826 * median_by_radius(np.abs(rays - middle.astype(np.float32)), hidden)
    # a few radii share their dirt, none shares its noise: take the lower of a radius and its surroundings
    padded = np.pad(spread, 3, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 7)
    steady = np.median(windows, axis=1)
    radii = (np.arange(len(spread)) + 0.5) * _NOISE_STEP_UM
    # where a picture is compressed most blocks are flat, and the median of their deviations says nothing of the rest
    for first, last in _CLADDING_BANDS_UM:
        band = (radii >= first) & (radii < last)
        values = rays[:, band] if hidden is None else rays[:, band][~hidden[:, band]]
        small = values[np.abs(values) < _SMALL_CONTRAST]
        if small.size:
            steady[band] = np.maximum(steady[band], float(np.sqrt(np.mean(small**2))))
    # near the centre few samples are independent: use the spread of the inner cladding there
    near = radii < 12
    steady[near] = max(float(np.median(steady[(radii > 6) & (radii < 24)])), 1e-5)
    edge = np.abs(radii - 62.5) < 4
    steady[edge] = np.maximum(steady[edge], spread[edge])
    out: NDArray[np.float64] = np.interp(POLAR_RADII_UM, radii, np.maximum(steady, 2e-4))
    return out


def noise_map(
    values: NDArray[np.float32],
    error: NDArray[np.float32] | None,
    hidden: NDArray[np.bool_] | None,
    shrink: int = 1,
) -> NDArray[np.float32]:
    """Lay the robust spread by radius, with an error of the background added in quadrature, over the plane."""
    full = values if shrink == 1 else _stretch(values)
    spread = noise_by_radius(full, hidden)
    table = np.interp(np.arange(0, HALF_UM * 1.5, 0.5), POLAR_RADII_UM, spread).astype(np.float32)
    start = (SIDE // 2) % shrink
    out = table[_INDEX[start::shrink, start::shrink]]
    return f32(out if error is None else cv2.magnitude(out, error))


def _stretch(values: NDArray[np.float32]) -> NDArray[np.float32]:
    return f32(cv2.resize(values, (SIDE, SIDE), interpolation=cv2.INTER_LINEAR))


_INDEX = (coordinates()[2] * np.float32(2.0)).astype(np.int32)
