"""Where a fibre may lie: circles that much of a picture's edges agree on.

A grey picture goes in; candidate circles come out, best first. Idea: the gradient field, normalised so that one
strong speck weighs no more than one piece of the cladding edge, is correlated with the radial unit field of a ring.
The score is the mean agreement of the edge direction with the radius over the ring, −1 to 1; its sign tells which
side is brighter. It joins the integro-differential operator of Daugman (IEEE Trans. PAMI 15, 1148, 1993) with the
gradient voting of Loy and Zelinsky (IEEE Trans. PAMI 25, 959, 2003), and is exact over all centres by FFT.
"""

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
import scipy.fft
from numpy.typing import NDArray

from workstation.endface.arrays import f64

_SMALL_HEIGHT_PX = 96
_RADIUS_STEP = 1.05


@dataclass(frozen=True, slots=True)
class Circle:
    """A candidate: centre and radius in pixels of the full picture; signed agreement (positive: brighter outside)."""

    x_px: float
    y_px: float
    radius_px: float
    score: float


def candidates(
    grey: NDArray[np.uint8],
    *,
    smallest: float = 0.09,
    largest: float = 0.48,
    margin: float = 0.0,
    most: int = 8,
) -> list[Circle]:
    """Find circles that the picture's edges agree on.

    Parameters
    ----------
    grey
        uint8, shape (height, width).
    smallest, largest
        Range of the radius as a fraction of the picture's height.
    margin
        How far the centre may lie outside the picture, as a fraction of its height.
    most
        How many to return at most.

    Returns
    -------
    list of Circle
        Best first; no two are near one another in both centre and radius.
    """
    shrink = grey.shape[0] / _SMALL_HEIGHT_PX
    size = (max(16, round(grey.shape[1] / shrink)), _SMALL_HEIGHT_PX)
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    field = _normalised_gradient(small)
    radii = (
        smallest
        * _SMALL_HEIGHT_PX
        * _RADIUS_STEP ** np.arange(1 + int(np.log(largest / smallest) / np.log(_RADIUS_STEP)))
    )
    scores = _ring_scores(field, f64(radii), margin)
    found = _peaks(scores, most)
    pad = margin * _SMALL_HEIGHT_PX
    sx, sy = grey.shape[1] / size[0], grey.shape[0] / size[1]
    return [
        Circle(
            # a resized picture's pixel i covers [i, i + 1) * scale - 0.5 of the full one
            x_px=(x - pad + 0.5) * sx - 0.5,
            y_px=(y - pad + 0.5) * sy - 0.5,
            radius_px=float(radii[k]) * sy,
            score=score,
        )
        for k, y, x, score in found
    ]


def _normalised_gradient(small: NDArray[np.float32]) -> NDArray[np.complex64]:
    smooth = cv2.GaussianBlur(small, (0, 0), 0.8)
    gx = cv2.Scharr(smooth, cv2.CV_32F, 1, 0, borderType=cv2.BORDER_REPLICATE)
    gy = cv2.Scharr(smooth, cv2.CV_32F, 0, 1, borderType=cv2.BORDER_REPLICATE)
    magnitude = cv2.magnitude(gx, gy)
    floor = 2.0 * float(np.median(magnitude)) + 16.0  # 16 is half a grey level a pixel in Scharr's units
    weight = magnitude / (magnitude * magnitude + floor * floor) ** 0.5 / np.maximum(magnitude, 1e-6)
    field: NDArray[np.complex64] = ((gx + 1j * gy) * weight).astype(np.complex64)
    return field


@lru_cache(maxsize=8)
def _ring_spectra(shape: tuple[int, int], radii: tuple[float, ...]) -> NDArray[np.complex64]:
    """Conjugate spectra of the rings' radial unit fields, each summing to one in length."""
    y = np.fft.fftfreq(shape[0], 1 / shape[0])[:, None]
    x = np.fft.fftfreq(shape[1], 1 / shape[1])[None, :]
    distance = np.hypot(x, y)
    unit = (x + 1j * y) / np.maximum(distance, 1e-9)
    spectra = np.empty((len(radii), *shape), np.complex64)
    for k, radius in enumerate(radii):
        spread = max(0.8, 0.03 * radius)
        ring = np.exp(-0.5 * ((distance - radius) / spread) ** 2)
        spectra[k] = np.conj(scipy.fft.fft2(unit * ring / ring.sum()))
    return spectra


def _ring_scores(
    field: NDArray[np.complex64], radii: NDArray[np.float64], margin: float
) -> NDArray[np.float32]:
    height, width = field.shape
    pad = int(margin * _SMALL_HEIGHT_PX)
    reach = pad + int(radii[-1]) + 4
    shape = (
        scipy.fft.next_fast_len(height + pad + reach),
        scipy.fft.next_fast_len(width + pad + reach),
    )
    padded = np.zeros(shape, np.complex64)
    padded[pad : pad + height, pad : pad + width] = field
    spectrum = scipy.fft.fft2(padded)
    spectra = _ring_spectra(shape, tuple(float(r) for r in radii))
    out = np.empty((len(radii), height + 2 * pad, width + 2 * pad), np.float32)
    for k in range(len(radii)):
        out[k] = scipy.fft.ifft2(spectrum * spectra[k]).real[: height + 2 * pad, : width + 2 * pad]
    return out


def _peaks(scores: NDArray[np.float32], most: int) -> list[tuple[int, float, float, float]]:
    strength = np.abs(scores)
    best_radius = strength.max(axis=0)
    local = best_radius >= cv2.dilate(best_radius, np.ones((5, 5), np.uint8))
    ys, xs = np.nonzero(local & (best_radius > 0.12))
    order = np.argsort(-best_radius[ys, xs], kind="stable")[: 3 * most]
    found: list[tuple[int, float, float, float]] = []
    for y, x in zip(ys[order], xs[order], strict=True):
        column = strength[:, y, x]
        rises = np.r_[True, column[1:] >= column[:-1]] & np.r_[column[:-1] > column[1:], True]
        for k in np.nonzero(rises & (column > max(0.12, 0.5 * column.max())))[0]:
            found.append((int(k), float(y), float(x), float(scores[k, y, x])))
    found.sort(key=lambda item: -abs(item[3]))
    return found[:most]
