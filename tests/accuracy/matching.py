"""Which found feature is which true one.

The rules, all lengths in micrometres:

* Both outlines are drawn on a grid of 0.2 and widened by 0.6, so that a scratch of a third of a micrometre
  can overlap its find. Pairs are chosen one to one for the largest sum of overlaps (intersection over union
  of the widened areas); a pair with less than 0.1 is none.
* A true feature left over counts as found when a find covers half of it and is not more than four times as
  large, or is the find of a true feature that it touches: two grains in contact are one find.
* A find left over is a piece of what it touches, or a false alarm when it lies further than 1.0 plus the
  picture's blur from every true area, those out of view or hidden included. The untouched middle of a ring
  is no true area.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from workstation.simulator.coverage import Patch, polygon_coverage

CELL_UM = 0.2
_HALF_UM = 140.0
_GRID = round(2 * _HALF_UM / CELL_UM)
_WIDEN_CELLS = 3
_LEAST_OVERLAP = 0.1
_COVERS = 0.5
_TIMES_AS_LARGE = 4.0
NEAR_UM = 1.0

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Area:
    """An outline (n, 2) in micrometres, a hole's outline or None, and both drawn on the grid."""

    outline_um: Points
    hole_um: Points | None
    filled: Patch
    solid: Patch
    wide: Patch

    @property
    def size_um2(self) -> float:
        """The area without the hole, where it lies on the grid."""
        return float(self.solid.values.sum()) * CELL_UM**2


def _patch(outline_um: Points) -> Patch:
    cells = (outline_um + _HALF_UM) / CELL_UM
    drawn = polygon_coverage(cells, _GRID, _GRID, pad=_WIDEN_CELLS + 1)
    return drawn if drawn is not None else Patch(np.zeros((1, 1), np.float32), 0, 0)


def area_of(outline_um: Points, hole_um: Points | None = None) -> Area:
    """Draw an outline on the grid."""
    filled = _patch(outline_um)
    values = filled.values.copy()
    if hole_um is not None:
        hole = _patch(hole_um)
        mine, its = _shared(filled, hole)
        values[mine] -= np.minimum(hole.values[its], values[mine])
    side = 2 * _WIDEN_CELLS + 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    wide = Patch(np.asarray(cv2.dilate(filled.values, disc), np.float32), filled.left, filled.top)
    return Area(outline_um, hole_um, filled, Patch(values, filled.left, filled.top), wide)


def _shared(one: Patch, other: Patch) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Return the window that both cover, as slices of each."""
    left, top = max(one.left, other.left), max(one.top, other.top)
    right = min(one.left + one.values.shape[1], other.left + other.values.shape[1])
    bottom = min(one.top + one.values.shape[0], other.top + other.values.shape[0])
    right, bottom = max(right, left), max(bottom, top)

    def part(patch: Patch) -> tuple[slice, slice]:
        return slice(top - patch.top, bottom - patch.top), slice(left - patch.left, right - patch.left)

    return part(one), part(other)


def common(one: Patch, other: Patch) -> float:
    """Return the common area of two patches in square cells."""
    if one.left >= other.left + other.values.shape[1] or other.left >= one.left + one.values.shape[1]:
        return 0.0
    if one.top >= other.top + other.values.shape[0] or other.top >= one.top + one.values.shape[0]:
        return 0.0
    mine, its = _shared(one, other)
    return float(np.minimum(one.values[mine], other.values[its]).sum())


def overlap(one: Patch, other: Patch) -> float:
    """Return intersection over union of two patches."""
    both = common(one, other)
    union = float(one.values.sum()) + float(other.values.sum()) - both
    return both / union if union > 0 else 0.0


def _dense(outline: Points) -> Points:
    """Return points along a closed outline, at most half a micrometre apart."""
    step = np.roll(outline, -1, axis=0) - outline
    count = np.maximum(np.ceil(np.hypot(step[:, 0], step[:, 1]) / 0.5).astype(int), 1)
    corner = np.repeat(np.arange(len(outline)), count)
    share = (np.arange(len(corner)) - np.repeat(np.cumsum(count) - count, count)) / count[corner]
    return np.asarray(outline[corner] + share[:, None] * step[corner])


def gap_um(one: Area, other: Area) -> float:
    """Return the distance of two areas, 0 where they overlap."""
    if common(one.solid, other.solid) > 0:
        return 0.0
    edges = [_dense(other.outline_um)] + ([] if other.hole_um is None else [_dense(other.hole_um)])
    nearest, _ = cKDTree(np.concatenate(edges)).query(_dense(one.outline_um))
    return float(nearest.min())


@dataclass(frozen=True, slots=True)
class Matching:
    """What belongs together, by index.

    Attributes
    ----------
    pairs
        True index to found index, one to one.
    merged
        True features that are found as a part of a find that belongs to another or to nothing else.
    pieces
        Found index to the nearest true index, for finds that belong to a true feature already found.
    false_alarms
        Found indices far from everything true.
    """

    pairs: dict[int, int]
    merged: dict[int, int]
    pieces: dict[int, int]
    false_alarms: tuple[int, ...]


def match(true: list[Area], found: list[Area], blur_um: float, touching: list[set[int]]) -> Matching:
    """Match found features to true ones by the rules of this module.

    Parameters
    ----------
    true, found
        All of both.
    blur_um
        Standard deviation of the picture's blur.
    touching
        For each true feature the others that it touches.
    """
    scores = np.array([[overlap(t.wide, f.wide) for f in found] for t in true]).reshape(len(true), len(found))
    rows, columns = linear_sum_assignment(-scores)
    pairs = {int(t): int(f) for t, f in zip(rows, columns, strict=True) if scores[t, f] >= _LEAST_OVERLAP}
    owner = {f: t for t, f in pairs.items()}
    merged = {}
    for t in (t for t in range(len(true)) if t not in pairs):
        whole = float(true[t].solid.values.sum())
        for f, find in enumerate(found):
            if whole == 0 or common(true[t].solid, find.wide) < _COVERS * whole:
                continue
            small = find.filled.values.sum() <= _TIMES_AS_LARGE * whole
            if small or owner.get(f, -1) in touching[t]:
                merged[t] = f
                break
    used = set(pairs.values()) | set(merged.values())
    pieces, false_alarms = {}, []
    for f in (f for f in range(len(found)) if f not in used):
        gaps = [gap_um(found[f], one) for one in true]
        if gaps and min(gaps) <= NEAR_UM + blur_um:
            pieces[f] = int(np.argmin(gaps))
        else:
            false_alarms.append(f)
    return Matching(pairs, merged, pieces, tuple(false_alarms))
