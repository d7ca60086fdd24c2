"""The fibre in a picture, or why there is no trustworthy fit.

Candidates come from `coarse`, are refined by `edge`, and must then look like a cladding: an edge all round, of one
step, at one radius, wholly inside the frame, with no larger edge around it. What fails is told apart into black,
over-exposed, blurred, cut off and missing; it is never fitted to something else.
"""

import math
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.endface.arrays import u8
from workstation.endface.coarse import Circle, candidates
from workstation.endface.core import find_core
from workstation.endface.edge import EdgeFit, follow, refine
from workstation.values import Fit, NoFit, NoFitReason, Polarity, ScaleSource

LEAST_SIDE_PX = 64
# Cladding 125 ± 1 µm (ITU-T G.652, IEC 60793-2-10, from memory): as a ruler its relative standard error, taking
# the tolerance as the limits of a rectangular distribution, is 1 / 125 / sqrt(3).
CLADDING_SCALE_ERROR = 1.0 / 125.0 / math.sqrt(3.0)


def to_grey(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Turn a picture into grey.

    Parameters
    ----------
    pixels
        uint8, shape (height, width) or (height, width, 3) in blue-green-red order.

    Returns
    -------
    ndarray of uint8, shape (height, width)

    Raises
    ------
    ValueError
        Another shape or type.
    """
    if pixels.dtype != np.uint8 or not (pixels.ndim == 2 or (pixels.ndim == 3 and pixels.shape[2] == 3)):
        raise ValueError(
            f"A picture must be 8-bit grey (height, width) or blue-green-red (height, width, 3); "
            f"this one is {pixels.dtype} of shape {pixels.shape}."
        )
    if pixels.ndim == 2:
        return np.ascontiguousarray(pixels)
    return u8(cv2.cvtColor(pixels, cv2.COLOR_BGR2GRAY))


def find_fibre(
    pixels: NDArray[np.uint8],
    *,
    um_per_px: float | None = None,
    scale_source: ScaleSource = ScaleSource.GIVEN,
) -> Fit | NoFit:
    """Find the fibre.

    Parameters
    ----------
    pixels
        uint8, shape (height, width) or (height, width, 3) in blue-green-red order.
    um_per_px
        Known scale; None takes the cladding as ruler.
    scale_source
        What a known scale rests on.

    Returns
    -------
    Fit or NoFit

    Raises
    ------
    ValueError
        The picture has another shape or type, or the scale isn't positive.
    """
    if um_per_px is not None and not (math.isfinite(um_per_px) and um_per_px > 0):
        raise ValueError(f"The scale must be a positive number of micrometres per pixel, not {um_per_px}.")
    grey = to_grey(pixels)
    if min(grey.shape) < LEAST_SIDE_PX:
        return NoFit(
            NoFitReason.TOO_SMALL,
            f"The picture is only {grey.shape[1]} by {grey.shape[0]} pixels; at least {LEAST_SIDE_PX} on each side "
            f"are needed.",
        )
    found = _search(grey)
    return found if isinstance(found, NoFit) else _as_fit(grey, found, um_per_px, scale_source)


def follow_fibre(pixels: NDArray[np.uint8], previous: Fit | NoFit | None) -> Fit | NoFit:
    """Follow the fibre from one live frame to the next.

    Much quicker than `find_fibre` and a little less exact; where the fibre is no longer where it was, the whole
    picture is searched. A picture that is graded is always searched, so that its result never depends on another.

    Parameters
    ----------
    pixels
        uint8, shape (height, width) or (height, width, 3) in blue-green-red order.
    previous
        What the frame before gave.

    Returns
    -------
    Fit or NoFit

    Raises
    ------
    ValueError
        The picture has another shape or type.
    """
    if not isinstance(previous, Fit):
        return find_fibre(pixels)
    grey = to_grey(pixels)
    if min(grey.shape) < LEAST_SIDE_PX:
        return find_fibre(pixels)
    sign = 1.0 if previous.polarity is Polarity.FERRULE_BRIGHTER else -1.0
    edge = follow(grey, Circle(*previous.centre_px, previous.cladding_diameter_px / 2, sign))
    if edge is None or not _looks_like_cladding(edge) or not _in_frame(grey, edge):
        return find_fibre(pixels)
    # what was cut off from view by the lens's own defocus is found by searching; a change of scale likewise
    if abs(edge.radius_px * 2 / previous.cladding_diameter_px - 1) > 0.05:
        return find_fibre(pixels)
    fit = _fit_of(edge, None, ScaleSource.CLADDING)
    if previous.core is None:
        return fit
    dx, dy = edge.x_px - previous.centre_px[0], edge.y_px - previous.centre_px[1]
    core = previous.core
    return replace(fit, core=replace(core, centre_px=(core.centre_px[0] + dx, core.centre_px[1] + dy)))


def _as_fit(
    grey: NDArray[np.uint8], edge: EdgeFit, um_per_px: float | None, scale_source: ScaleSource
) -> Fit:
    return replace(_fit_of(edge, um_per_px, scale_source), core=find_core(grey, edge))


def _fit_of(edge: EdgeFit, um_per_px: float | None, scale_source: ScaleSource) -> Fit:
    amplitude = math.hypot(*edge.second)
    return Fit(
        centre_px=(edge.x_px, edge.y_px),
        cladding_diameter_px=2 * edge.radius_px,
        um_per_px=um_per_px or edge.um_per_px,
        scale_source=scale_source if um_per_px else ScaleSource.CLADDING,
        scale_error=0.0 if um_per_px else CLADDING_SCALE_ERROR,
        blur_um=edge.blur_um * ((um_per_px or edge.um_per_px) / edge.um_per_px),
        polarity=Polarity.FERRULE_BRIGHTER if edge.outer > edge.inner else Polarity.CLADDING_BRIGHTER,
        support=edge.support,
        axis_ratio=(edge.radius_px + amplitude) / (edge.radius_px - amplitude),
        axis_angle_rad=0.5 * math.atan2(edge.second[1], edge.second[0]) % math.pi,
    )


def _in_frame(grey: NDArray[np.uint8], edge: EdgeFit) -> bool:
    height, width = grey.shape
    reach = edge.radius_px + 0.5
    return bool(reach <= edge.x_px <= width - 1 - reach and reach <= edge.y_px <= height - 1 - reach)


def _looks_like_cladding(edge: EdgeFit) -> bool:
    step = abs(edge.outer - edge.inner)
    return (
        edge.support >= 0.6
        and edge.scatter_um <= _MOST_SCATTER_UM
        and step >= max(4.0, 0.05 * (edge.outer + edge.inner))
        and math.hypot(*edge.second) <= 0.03 * edge.radius_px
    )


def _search(grey: NDArray[np.uint8]) -> EdgeFit | NoFit:
    found: list[EdgeFit] = []
    circles = candidates(grey)
    for circle in circles:
        if any(_same_place(circle, edge) for edge in found):
            continue
        edge = refine(grey, circle)
        if edge is None or not _looks_like_cladding(edge) or not _in_frame(grey, edge):
            continue
        # a multimode core has an edge as clear as the cladding's: the outermost of concentric edges is the cladding
        found = [one for one in found if not _encloses(edge, one)]
        if not any(_encloses(one, edge) for one in found):
            found.append(edge)
        if len(found) == 1 and abs(circle.score) > _SURE and not _rivals(circles, found[0]):
            break
    if not found:
        return _why_not(grey, circles)
    # of several fibres in one ferrule, the one nearest to the middle of the frame is looked at
    best = min(found, key=lambda e: math.hypot(e.x_px - grey.shape[1] / 2, e.y_px - grey.shape[0] / 2))
    step = abs(best.outer - best.inner) / (best.outer + best.inner)
    if step > _CORE_STEP or best.blur_um > _MOST_BLUR_UM:
        return best  # more of a step than a lit core has, or too blurred to tell and refused for that
    # a ferrule is grainier than glass, or a dark line of glue shows; an edge with neither is that of a core
    bare = best.outer_grain < _GRAIN_RATIO * best.inner_grain and best.dip < _LEAST_DIP
    return _CUT_OFF if bare or _is_core(grey, best) else best


def _rivals(circles: list[Circle], edge: EdgeFit) -> bool:
    """Whether another candidate could be a fibre of its own, or the cladding around a core."""
    return any(
        abs(c.score) > 0.6
        and not _same_place(c, edge)
        and (c.radius_px > 0.85 * edge.radius_px or _could_enclose(c, edge))
        for c in circles
    )


def _same_place(circle: Circle, edge: EdgeFit) -> bool:
    apart = math.hypot(circle.x_px - edge.x_px, circle.y_px - edge.y_px)
    return apart < 0.3 * edge.radius_px and circle.radius_px < 1.2 * edge.radius_px


def _could_enclose(circle: Circle, inner: EdgeFit) -> bool:
    apart = math.hypot(circle.x_px - inner.x_px, circle.y_px - inner.y_px)
    return circle.radius_px > 1.2 * inner.radius_px and apart < 0.3 * inner.radius_px


def _encloses(outer: EdgeFit, inner: EdgeFit) -> bool:
    apart = math.hypot(outer.x_px - inner.x_px, outer.y_px - inner.y_px)
    return outer.radius_px > 1.2 * inner.radius_px and apart < 0.15 * inner.radius_px


def _is_core(grey: NDArray[np.uint8], edge: EdgeFit) -> bool:
    """Whether a larger edge around this one, partly outside the frame, shows it to be a multimode core."""
    for ratio in (2.0, 2.5):  # cladding over core, 125 / 62.5 and 125 / 50
        for sign in (1.0, -1.0):
            around = refine(grey, Circle(edge.x_px, edge.y_px, ratio * edge.radius_px, sign), rounds=1)
            if around is not None and _looks_like_cladding(around) and around.support >= 0.75:
                return True
    return False


def _why_not(grey: NDArray[np.uint8], circles: list[Circle]) -> NoFit:
    if float(np.percentile(grey, 99)) < 16:
        return _BLACK
    if float((grey >= 250).mean()) > 0.5:
        return _OVER_EXPOSED
    for circle in candidates(grey, largest=0.9, margin=0.6, most=14):
        edge = refine(grey, circle, rounds=1)
        if edge is None or not _looks_like_cladding(edge) or edge.support < 0.75:
            continue
        if not _in_frame(grey, edge) and edge.blur_um < _MOST_BLUR_UM:
            return _CUT_OFF
    if any(abs(circle.score) >= 0.6 and _step(grey, circle) >= 0.1 for circle in circles[:3]):
        return _BLURRED
    return _MISSING


def _step(grey: NDArray[np.uint8], circle: Circle) -> float:
    """Relative step of brightness across a circle, its close surroundings left out."""
    shrink = max(1.0, grey.shape[0] / 240.0)
    size = (round(grey.shape[1] / shrink), round(grey.shape[0] / shrink))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    y, x = np.mgrid[: size[1], : size[0]]
    distance = np.hypot(x - circle.x_px / shrink, y - circle.y_px / shrink) / (circle.radius_px / shrink)
    inside, outside = small[(distance > 0.55) & (distance < 0.8)], small[(distance > 1.2) & (distance < 1.45)]
    if inside.size < 20 or outside.size < 20:
        return 0.0
    a, b = float(np.median(inside)), float(np.median(outside))
    return abs(a - b) / max(a + b, 1.0)


_MOST_SCATTER_UM = 0.6
_GRAIN_RATIO = 1.45
_LEAST_DIP = 0.02
# A lit core is up to some 60 % brighter than its cladding, a step of 0.23 of their sum.
_CORE_STEP = 0.25
# Past this blur neither grain nor glue would show; such a picture is refused for its focus.
_MOST_BLUR_UM = 2.0
_SURE = 0.8
_BLACK = NoFit(
    NoFitReason.BLACK, "The picture is black. Switch the microscope's lamp on, or raise exposure or gain."
)
_OVER_EXPOSED = NoFit(
    NoFitReason.OVER_EXPOSED,
    "The picture is over-exposed: most of it is pure white. Lower lamp, exposure or gain.",
)
_BLURRED = NoFit(
    NoFitReason.BLURRED,
    "A fibre is in view, but its edge isn't clear. Turn the focus until it is sharp; if dirt hides it, clean the face.",
)
_CUT_OFF = NoFit(
    NoFitReason.CUT_OFF,
    "The fibre is cut off by the edge of the picture. Move it until the whole fibre is in view.",
)
_MISSING = NoFit(
    NoFitReason.MISSING,
    "No fibre is in view. Put a connector into the microscope's tip and centre the fibre.",
)
