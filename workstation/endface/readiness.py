"""Whether a picture may be graded: blur, light, contrast and what could have been seen.

The fit and the face's own noise go in; measured checks with their limits come out, in the order in which a person
would mend them. What the criteria ask for on top (zones in view, smallest feature asked about) is their business.
"""

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.endface.spots import THRESHOLD, Filter
from workstation.endface.unblur import strip_depth
from workstation.values import Check, Fit, NoFit, NoFitReason, Readiness

# The contrast at which the smallest visible particle and scratch are stated.
STATED_CONTRAST = 0.3
# Two things must be about two standard deviations of the blur apart to be told apart (Sparrow's limit for a
# Gaussian is exactly 2, from memory); what is smaller than that is seen but can't be measured.
_RESOLVED_IN_BLURS = 1.7
_SIZES_UM = np.geomspace(0.1, 50.0, 240)
_LIMIT_CLIPPED = 0.02
_LEAST_LEVEL = 20.0
_LEAST_SUPPORT = 0.6
_MOST_BLUR_UM = 1.3


def without_fit(fault: NoFit, grey: NDArray[np.uint8]) -> Readiness:
    """Return the readiness of a picture without a trustworthy fit."""
    bright = float(np.percentile(grey, 99))
    white = float((grey >= 250).mean())
    checks = [
        Check("light", bright >= 16, round(bright, 1), 16.0, "grey levels", "Raise lamp, exposure or gain."),
        Check("white", white <= 0.5, round(white, 4), 0.5, "of the picture", "Lower lamp, exposure or gain."),
        Check("fibre found", ok=False, value=0.0, limit=1.0, unit="fibres", advice=fault.message),
    ]
    if fault.reason in (NoFitReason.BLACK, NoFitReason.OVER_EXPOSED):
        checks[-1] = Check("fibre found", ok=False, value=0.0, limit=1.0, unit="fibres", advice=checks[0].advice
                           if fault.reason is NoFitReason.BLACK else checks[1].advice)  # fmt: skip
    return Readiness(None, None, None, tuple(checks))


def with_fit(
    fit: Fit, grey: NDArray[np.uint8], noise: float, filters: Sequence[Filter], sampling_um: float
) -> Readiness:
    """Return the readiness of a fitted picture.

    Parameters
    ----------
    fit
        The fitted fibre.
    grey
        uint8, shape (height, width).
    noise
        Standard deviation of the cladding's contrast after a Gaussian of 0.4 µm.
    filters
        The matched filters as they stand on this picture's cladding.
    sampling_um
        Standard deviation of the blur that pixels and resampling add.

    Returns
    -------
    Readiness
    """
    blur_um = math.hypot(fit.blur_um, sampling_um)
    smallest, narrowest = _smallest_spot(filters, blur_um), _narrowest_line(noise, blur_um)
    level, clipped = _light(fit, grey)
    checks = (
        Check("light", level >= _LEAST_LEVEL, round(level, 1), _LEAST_LEVEL, "grey levels",
              "Too dark: raise lamp, exposure or gain."),
        Check("clipping", clipped <= _LIMIT_CLIPPED, round(clipped, 4), _LIMIT_CLIPPED, "of the fibre",
              "Over-exposed: lower lamp, exposure or gain."),
        Check("focus", fit.blur_um <= _MOST_BLUR_UM, round(fit.blur_um, 3), _MOST_BLUR_UM, "µm",
              "Out of focus: turn the focus until the edge of the fibre is sharp."),
        Check("edge", fit.support >= _LEAST_SUPPORT, round(fit.support, 3), _LEAST_SUPPORT, "of the circumference",
              "Too little of the fibre's edge is clear: clean the face, and even out the light."),
    )  # fmt: skip
    return Readiness(fit.blur_um, smallest, narrowest, checks)


def _light(fit: Fit, grey: NDArray[np.uint8]) -> tuple[float, float]:
    """Median level, and share of pure white, inside the cladding."""
    x, y = fit.centre_px
    radius = fit.cladding_diameter_px / 2
    x0, x1 = max(0, int(x - radius)), min(grey.shape[1], int(x + radius) + 2)
    y0, y1 = max(0, int(y - radius)), min(grey.shape[0], int(y + radius) + 2)
    crop = grey[y0:y1, x0:x1]
    mask = np.zeros(crop.shape, np.uint8)
    cv2.circle(mask, (round(x - x0), round(y - y0)), int(radius), 1, -1)
    inside = crop[mask > 0]
    return float(np.median(inside)), float((inside >= 254).mean())


def _smallest_spot(filters: Sequence[Filter], blur_um: float) -> float:
    """Smallest disc at the stated contrast that one of the filters shows, and that is resolved."""
    for size in _SIZES_UM:
        if any(one.shows(float(size), STATED_CONTRAST, blur_um) for one in filters):
            return round(max(float(size), _RESOLVED_IN_BLURS * blur_um), 3)
    return round(float(_SIZES_UM[-1]), 3)


def _narrowest_line(noise: float, blur_um: float) -> float:
    """Narrowest strip at the stated contrast that stands clear of the noise."""
    seen_blur = math.hypot(blur_um, 0.4)
    # a line is added up over at least seven micrometres, a few blur widths
    needed = THRESHOLD * noise / math.sqrt(7.0 / (2.5 * seen_blur))
    clear = [size for size in _SIZES_UM if STATED_CONTRAST * strip_depth(float(size), seen_blur) > needed]
    return round(float(clear[0] if clear else _SIZES_UM[-1]), 3)
