"""From blobs and lines to features: which is which, how large each is, and how sure that is.

Blobs that a line explains are dropped; the rest get form, size and error. A size is the diameter of the smallest
circle around the outline once the blur is taken off; a scratch is judged by its width.
"""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.endface.delineate import Blob
from workstation.endface.lines import Line, normals
from workstation.endface.plane import CELL_UM, MIDDLE, SIDE
from workstation.endface.unblur import disc_depth, disc_diameter_um, strip_depth, strip_width_um
from workstation.values import Form

# A feature at least this many times as long as wide, and narrower than 4.6 µm, is a scratch: the standard gives no
# number; 3 to 1 is common in image work (common practice, no source).
SCRATCH_ASPECT = 3.5
_SCRATCH_MOST_UM = 4.6
_SCRATCH_LEAST_UM = 6.0
# What half depth misses of an uneven outline, from rendered faces.
_OUTLINE_ERROR_UM, _OUTLINE_SHARE = 0.1, 0.03
_WIDTH_ERROR_UM = 0.06
_CLEAR_OUTLINE = 12.0
_SHADING_DEPTH = 0.1
_SHADING_SOFTNESS = 0.35
# What is larger than 6 µm and fainter than this can't be told from uneven light or dirt on the scope.
_FAINTEST_DEPTH = 0.035


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """A feature before it has a number and a cause; see `workstation.values.Feature` for the fields."""

    form: Form
    sign: int
    size_um: float
    size_error_um: float
    width_um: float
    width_error_um: float
    length_um: float
    contrast: float
    outline_um: NDArray[np.float64]
    inner_um: float
    outer_um: float
    filled: float


def shapes_of(blobs: list[Blob], lines: list[Line], blur_um: float, scale_error: float) -> list[Shape]:
    """Turn blobs and lines into shapes.

    Parameters
    ----------
    blobs, lines
        What was found.
    blur_um
        Blur in the plane, in micrometres.
    scale_error
        Relative standard error of the scale.

    Returns
    -------
    list of Shape
    """
    covered = {sign: _ribbons([line for line in lines if line.sign == sign], blur_um) for sign in (-1, 1)}
    out = [_from_line(line, blur_um, scale_error) for line in lines]
    for blob in blobs:
        if _sharper_than_optics(blob, blur_um) or _shading(blob, blur_um):
            continue
        # what a line explains is dropped, but not what sits on the line
        kept = [blob] if not _explained(blob, covered[blob.sign]) else _lumps(blob, lines, blur_um)
        out += [_from_blob(one, blur_um, scale_error) for one in kept]
    return out


def _lumps(blob: Blob, lines: list[Line], blur_um: float) -> list[Blob]:
    """Return what in a spot is too thick to be the lines through it: opening takes the lines away."""
    own = [line for line in lines if line.sign == blob.sign and _passes(line, blob)]
    widest = max((line.half_depth_um for line in own), default=0.0)
    cells = int((1.4 * widest + blur_um + 0.8) / CELL_UM) | 1
    opened = cv2.morphologyEx(
        blob.mask.astype(np.uint8),
        cv2.MORPH_OPEN,
        cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (cells, cells)),
        borderType=cv2.BORDER_CONSTANT,
        borderValue=0,
    )
    outlines, _ = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    offset = np.array([blob.origin[1] - MIDDLE, blob.origin[0] - MIDDLE])
    found = []
    for outline in outlines:
        points = outline[:, 0, :].astype(np.float64)
        if len(points) < 8:
            continue
        mask = np.zeros(blob.mask.shape, np.uint8)
        cv2.drawContours(mask, [outline], -1, 1, thickness=cv2.FILLED)
        # the outline runs through the centres of the outermost cells: half a cell further out is the edge
        middle = points.mean(axis=0)
        away = points - middle
        points = middle + away * (1 + 0.5 / np.maximum(np.hypot(*away.T), 1.0))[:, None]
        found.append(replace(blob, contour_um=(points + offset) * CELL_UM, mask=mask > 0))
    return found


def _passes(line: Line, blob: Blob) -> bool:
    column, row = np.rint(line.path_um / CELL_UM + MIDDLE).astype(int).T
    row, column = row - blob.origin[0], column - blob.origin[1]
    h, w = blob.mask.shape
    inside = (row >= 0) & (row < h) & (column >= 0) & (column < w)
    return bool(blob.mask[row[inside], column[inside]].any())


def _sharper_than_optics(blob: Blob, blur_um: float) -> bool:
    """Whether a spot is smaller than the image of a point: then it's a pixel of the camera and not of the face."""
    point = 2.355 * math.hypot(blur_um, blob.smoothing_um)
    area = _area(blob.contour_um)
    _, short = _extent(blob.contour_um)
    seen = min(2 * math.sqrt(area / math.pi), 1.15 * short)
    if blob.sign < 0 and blob.significance < _CLEAR_OUTLINE:
        return False  # so near the noise its outline says little, and a dark spot is not passed over for that
    return seen < (0.9 if blob.sign > 0 else 0.82) * point


def compact(blobs: list[Blob]) -> NDArray[np.bool_]:
    """Mark the cells of compact spots, which a search for lines should leave out."""
    mask = np.zeros((SIDE, SIDE), np.uint8)
    for blob in blobs:
        long, short = _extent(blob.contour_um)
        broad = _as_ribbon(blob.contour_um)[1] > _SCRATCH_MOST_UM
        area = _area(blob.contour_um)
        round_ = (
            long < 2.2 * max(short, 0.5) and area > 0.45 * long * short
        )  # crossing scratches leave it empty
        if round_ or long < 4.0 or broad or _is_ring(blob):
            top, left = blob.origin
            h, w = blob.mask.shape
            mask[top : top + h, left : left + w] |= blob.mask.astype(np.uint8)
    return cv2.dilate(mask, np.ones((9, 9), np.uint8)) > 0


def _ribbons(lines: list[Line], blur_um: float) -> NDArray[np.float32]:
    """Depth of the lines over the plane, wherever a line or its blur reaches; 0 elsewhere."""
    depth = np.zeros((SIDE, SIDE), np.float32)
    for line in lines:
        points = np.rint(line.path_um / CELL_UM + MIDDLE).astype(np.int32)
        thickness = max(3, int((line.half_depth_um + 2.5 * blur_um + 1.0) / CELL_UM))
        one = np.zeros((SIDE, SIDE), np.uint8)
        cv2.polylines(one, [points], isClosed=False, color=1, thickness=thickness)
        np.maximum(depth, one * np.float32(abs(line.depth)), out=depth)
    return depth


def _explained(blob: Blob, ribbons: NDArray[np.float32]) -> bool:
    top, left = blob.origin
    h, w = blob.mask.shape
    under = ribbons[top : top + h, left : left + w][blob.mask]
    inside = under > 0
    if inside.mean() < 0.6:
        return False
    # a spot much deeper than the line it lies on is a spot of its own, unless it is as long as a piece of it
    long, short = _extent(blob.contour_um)
    deeper = blob.depth > 2.6 * float(under[inside].mean())
    return not (deeper and long < 2.5 * short)


def _shading(blob: Blob, blur_um: float) -> bool:
    """Whether a spot is faint and has no edge: the lamp, a fringe or dirt out of focus, but nothing on the face.

    What lies on the face is as sharp as the optics; a film is soft, but not all the way to its middle.
    """
    long, _ = _extent(blob.contour_um)
    if blob.depth < _FAINTEST_DEPTH and long > 6.0:
        return True
    return (
        blob.depth < _SHADING_DEPTH
        and long > 6.0 * math.hypot(blur_um, blob.smoothing_um)
        and blob.softness > _SHADING_SOFTNESS
    )


def _area(contour_um: NDArray[np.float64]) -> float:
    return abs(float(cv2.contourArea(contour_um.astype(np.float32))))


def _extent(contour_um: NDArray[np.float64]) -> tuple[float, float]:
    (_, (a, b), _) = cv2.minAreaRect(contour_um.astype(np.float32))
    return max(a, b), min(a, b)


def distance_range(
    outline_um: NDArray[np.float64], cells_um: NDArray[np.float64] | None
) -> tuple[float, float]:
    """Smallest and largest distance of a feature from the cladding's centre in micrometres."""
    following = np.roll(outline_um, -1, axis=0)
    step = following - outline_um
    along = np.clip(-(outline_um * step).sum(1) / np.maximum((step**2).sum(1), 1e-12), 0, 1)
    nearest = float(np.hypot(*(outline_um + along[:, None] * step).T).min())
    inside = cv2.pointPolygonTest(outline_um.astype(np.float32), (0.0, 0.0), measureDist=False) > 0
    if inside:
        # a ring around the centre doesn't reach it: then its own cells say how near it comes
        nearest = 0.0 if cells_um is None else max(0.0, float(np.hypot(*cells_um.T).min()) - CELL_UM)
    return nearest, float(np.hypot(*outline_um.T).max())


def _from_line(line: Line, blur_um: float, scale_error: float) -> Shape:
    normal = normals(line.path_um) * line.width_um / 2
    outline = np.vstack([line.path_um + normal, (line.path_um - normal)[::-1]])
    _, radius = cv2.minEnclosingCircle(outline.astype(np.float32))
    inner, outer = distance_range(outline, None)
    width_error = _error(line.width_um, line.half_depth_um, blur_um, 1 / line.significance, scale_error)
    kept = max(strip_depth(line.width_um, blur_um), 0.05)
    return Shape(
        form=Form.SCRATCH,
        sign=line.sign,
        size_um=2 * radius,
        size_error_um=math.hypot(1.0, scale_error * 2 * radius),
        width_um=line.width_um,
        width_error_um=width_error,
        length_um=line.length_um,
        contrast=float(np.clip(line.depth / kept, -1.0, 5.0)),
        outline_um=outline,
        inner_um=inner,
        outer_um=outer,
        filled=1.0,
    )


def _error(
    size_um: float, seen_um: float, blur_um: float, relative_noise: float, scale_error: float
) -> float:
    """Return the standard error of a width: the scale's, the edge's own noise, and what an error of the blur leaves."""
    edge = 1.2 * blur_um * relative_noise * math.sqrt(2)
    # taking the blur off a narrow image multiplies its errors by about seen / size
    lever = min(seen_um / max(size_um, 0.2 * blur_um), 5.0)
    return math.sqrt(
        (scale_error * size_um) ** 2
        + (lever * edge) ** 2
        + (0.04 * blur_um * lever) ** 2
        + _WIDTH_ERROR_UM**2
    )


def _from_blob(blob: Blob, blur_um: float, scale_error: float) -> Shape:
    blur = math.hypot(blur_um, blob.smoothing_um)
    contour = blob.contour_um
    long_seen, short_seen = _extent(contour)
    _, radius = cv2.minEnclosingCircle(contour.astype(np.float32))
    aspect = long_seen / max(short_seen, 0.1)
    strip = float(np.clip(aspect - 1.2, 0, 1))
    short = (1 - strip) * disc_diameter_um(short_seen, blur) + strip * strip_width_um(short_seen, blur)
    long = disc_diameter_um(long_seen, blur)
    size, rounding_error = _unrounded(disc_diameter_um(2 * radius, blur), 2 * radius, contour, blur)
    outline = _shrunk(contour, long_seen, short_seen, long, short)
    area = _area(contour)
    filled = float(blob.mask.sum()) * CELL_UM**2 / max(area, CELL_UM**2)
    ribbon_long, ribbon_wide = _as_ribbon(contour)
    ribbon_wide = strip_width_um(ribbon_wide, blur)
    scratch = (
        filled > 0.8
        and ribbon_long >= max(SCRATCH_ASPECT * ribbon_wide, _SCRATCH_LEAST_UM)
        and ribbon_wide <= _SCRATCH_MOST_UM
        and 2 * radius > 0.75 * ribbon_long  # an open ring curls up
    )
    if scratch:
        long, short, short_seen = ribbon_long, ribbon_wide, max(ribbon_wide, 2.0 * blur)
    inner, outer = distance_range(outline, blob.cells_um if filled < 0.8 else None)
    relative = 1 / max(blob.significance, 1.0)
    size_error = math.hypot(_error(size, 2 * radius, blur, relative, scale_error), rounding_error)
    size_error = math.hypot(size_error, _OUTLINE_ERROR_UM + _OUTLINE_SHARE * min(size, 25.0))
    kept = max(disc_depth(short if not scratch else size, blur), 0.05)
    return Shape(
        form=Form.SCRATCH if scratch else Form.DEFECT,
        sign=blob.sign,
        size_um=max(size, long) if not scratch else 2 * radius,
        size_error_um=size_error,
        width_um=short,
        width_error_um=_error(short, short_seen, blur, relative, scale_error),
        length_um=long,
        contrast=float(np.clip(blob.sign * blob.depth / kept, -1.0, 5.0)),
        outline_um=outline,
        inner_um=inner,
        outer_um=outer,
        filled=filled,
    )


def _is_ring(blob: Blob) -> bool:
    """Whether a spot is hollow and its outline bulges outward all round: no crossing of scratches does."""
    area = _area(blob.contour_um)
    hull = abs(float(cv2.contourArea(cv2.convexHull(blob.contour_um.astype(np.float32)))))
    hollow = float(blob.mask.sum()) * CELL_UM**2 < 0.75 * area
    return hollow and area > 0.8 * hull


def _as_ribbon(contour: NDArray[np.float64]) -> tuple[float, float]:
    """Length and width of the straight ribbon of the same outline and area: right for a bent one too."""
    smooth = cv2.approxPolyDP(contour.astype(np.float32), 0.25, closed=True)
    half = cv2.arcLength(smooth, closed=True) / 2
    area = abs(float(cv2.contourArea(smooth)))
    length = (half + math.sqrt(max(half * half - 4 * area, 0.0))) / 2
    return length, area / max(length, 1e-6)


def _unrounded(
    size_um: float, seen_um: float, contour: NDArray[np.float64], blur_um: float
) -> tuple[float, float]:
    """Give back what blur takes off the corners of an irregular spot; returns the size and its error.

    Half depth at a right-angled corner lies 0.77 blurs inside it (the edge's error function squared), less at a
    blunter one; how far a spot is from round tells how pointed its ends are. The slope and the spread are those of
    rendered particles.
    """
    area = max(_area(contour), 1e-3)
    pointed = seen_um / (2 * math.sqrt(area / math.pi)) - 1.04
    return (
        size_um + blur_um * float(np.clip(3.0 * pointed, 0.0, 0.8)),
        blur_um * (0.12 + float(np.clip(1.6 * pointed, 0.0, 0.5))),
    )


def _shrunk(
    contour: NDArray[np.float64], long_seen: float, short_seen: float, long: float, short: float
) -> NDArray[np.float64]:
    """Outline with the blur taken off along and across its main direction."""
    centre, (a, b), angle = cv2.minAreaRect(contour.astype(np.float32))
    turn = math.radians(angle if a >= b else angle + 90)
    axes = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    local = (contour - centre) @ axes.T
    local *= [long / max(long_seen, 1e-6), short / max(short_seen, 1e-6)]
    out: NDArray[np.float64] = local @ axes + centre
    return out
