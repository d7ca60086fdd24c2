"""Outlines: what belongs to each spot, at half of its own depth.

Seeds and contrast go in; `Blob`s come out. From the deepest place down, each spot takes all that is joined to it
at half its depth; a place that is joined at half depth to a spot already taken is that spot's flank, or, far enough
off, the rest of one uneven thing, as a ring is. Weak spots are read from a smoother map, so that their outline isn't
ragged with noise.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from skimage.measure import find_contours

from workstation.endface.arrays import f32
from workstation.endface.background import Face
from workstation.endface.plane import CELL_UM, MIDDLE
from workstation.endface.spots import Seeds, hidden_rays, noise_map

# Smoothing (Gaussian standard deviation, µm) of the map that the outline is read from: the first that shows the
# spot clear of the noise by the factor beside it.
_SMOOTHING_UM = (0.2, 0.4, 1.0, 2.4)
_CLEAR = (20.0, 8.0, 8.0, 8.0)
_MARGIN = 8
# A filter may answer to the pattern of a compressed picture; what no plain map shows this clearly isn't there.
_LEAST_CLEAR = 6.5
_FAINT = 0.15
# A rise within this many blurs of a deeper spot is its flank; farther off, and at least this deep, part of it.
_BLURS_APART = 3.0
_SHARE = 0.25
_MOST = 600


@dataclass(frozen=True, slots=True, eq=False)
class Blob:
    """One spot.

    Attributes
    ----------
    sign
        −1 darker, +1 brighter than the background.
    depth
        Contrast at the deepest place of the smoothed map.
    significance
        That depth over the noise there.
    smoothing_um
        Standard deviation of the smoothing of the map that was read.
    contour_um
        float64, (n, 2): outline at half depth.
    softness
        How far apart the outlines at 0.3 and 0.7 of its depth lie, over its radius: 0.6 for a Gaussian spot, near
        0 for a sharp-edged one.
    mask, origin
        bool window of the plane's cells, and its first row and column.
    """

    sign: int
    depth: float
    significance: float
    smoothing_um: float
    contour_um: NDArray[np.float64]
    softness: float
    mask: NDArray[np.bool_]
    origin: tuple[int, int]

    @property
    def cells_um(self) -> NDArray[np.float64]:
        """Centres (n, 2) of the spot's cells in micrometres."""
        rows, columns = np.nonzero(self.mask)
        return (
            np.stack([columns + self.origin[1] - MIDDLE, rows + self.origin[0] - MIDDLE], axis=1).astype(
                float
            )
            * CELL_UM
        )


def find_blobs(face: Face, seeds: Seeds, blur_um: float) -> list[Blob]:
    """Outline every spot.

    Parameters
    ----------
    face
        The contrast map.
    seeds
        Where something is.
    blur_um
        Standard deviation of the blur in the plane.

    Returns
    -------
    list of Blob
        In the order of the plane, dark ones first.
    """
    maps = _Maps(face, seeds)
    blobs: list[Blob] = []
    for sign, mask in ((-1, seeds.dark), (1, seeds.bright)):
        if not mask.any():
            continue
        count, labels, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8), connectivity=8)
        for k in range(1, min(count, _MOST)):
            x, y, w, h = (int(v) for v in stats[k, :4])
            blobs += _component(maps, sign, np.asarray(labels, np.int32), k, (x, y, w, h), blur_um)
    return blobs


class _Maps:
    """Smoothed contrast with its noise, each made when first asked for."""

    def __init__(self, face: Face, seeds: Seeds) -> None:
        self._face = face
        self._hidden = hidden_rays(face)
        self._made = {_SMOOTHING_UM[1]: (seeds.smooth, seeds.noise)}

    def at(self, smoothing_um: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        if smoothing_um not in self._made:
            smooth = f32(cv2.GaussianBlur(self._face.contrast, (0, 0), smoothing_um / CELL_UM))
            self._made[smoothing_um] = (smooth, noise_map(smooth, None, self._hidden))
        return self._made[smoothing_um]


def _component(
    maps: _Maps, sign: int, labels: NDArray[np.int32], k: int, box: tuple[int, int, int, int], blur_um: float
) -> list[Blob]:
    x, y, w, h = box
    top, left = max(0, y - _MARGIN), max(0, x - _MARGIN)
    window = (
        slice(top, min(labels.shape[0], y + h + _MARGIN)),
        slice(left, min(labels.shape[1], x + w + _MARGIN)),
    )
    own = labels[window] == k
    smoothing_um, value, clear = _map_for(maps, sign, window, own)
    if float(clear[own].max()) < _LEAST_CLEAR:
        return []
    near = cv2.dilate(own.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0
    summit = (value >= cv2.dilate(value, np.ones((3, 3), np.uint8))) & own & (clear > 4.5)
    rows, columns = np.nonzero(summit)
    order = np.argsort(-value[rows, columns], kind="stable")
    reach = int(np.ceil(_BLURS_APART * np.hypot(blur_um, smoothing_um) / CELL_UM))
    spread = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    taken = np.zeros(own.shape, bool)
    close = np.zeros(own.shape, bool)
    regions: list[_Region] = []
    for i in order:
        row, column = int(rows[i]), int(columns[i])
        if taken[row, column]:
            continue
        depth = float(value[row, column])
        mine = _joined_to(value, near, (row, column), 0.5 * depth)
        joined = [one for one in regions if (one.mask & mine).any()]
        flank = bool((mine & taken).any())
        taken |= mine
        if flank and (close[row, column] or not joined or depth < _SHARE * max(one.depth for one in joined)):
            continue
        if joined:
            # far from what it is joined to, it is no flank: one uneven thing, as a ring is
            regions = [one for one in regions if not any(one is other for other in joined)]
            deepest = max(joined, key=lambda one: one.depth)
            for one in joined:
                mine = mine | one.mask
            region = _Region(mine, 0.5 * depth, deepest.depth, deepest.summit)
        else:
            region = _plateau(value, near, taken, _Region(mine, 0.5 * depth, depth, (row, column)))
            taken |= region.mask
        regions.append(region)
        close |= cv2.dilate(region.mask.astype(np.uint8), spread) > 0
    offset = np.array([left - MIDDLE, top - MIDDLE])
    found = []
    for region in regions:
        contour = _contour(value, region.mask, region.level)
        if contour is not None:
            found.append(
                Blob(
                    sign=sign,
                    depth=region.depth,
                    significance=float(clear[region.summit]),
                    smoothing_um=smoothing_um,
                    contour_um=(contour + offset) * CELL_UM,
                    softness=_softness(value, near, region.summit),
                    mask=region.mask,
                    origin=(top, left),
                )
            )
    return found


def _map_for(
    maps: _Maps, sign: int, window: tuple[slice, slice], own: NDArray[np.bool_]
) -> tuple[float, NDArray[np.float32], NDArray[np.float32]]:
    """Return the sharpest map that shows a spot clearly, or else the one that shows it best.

    With its smoothing, its values by sign and these over their noise.
    """
    best: tuple[float, NDArray[np.float32], NDArray[np.float32]] | None = None
    most = -np.inf
    for smoothing_um, enough in zip(_SMOOTHING_UM, _CLEAR, strict=True):
        smooth, noise = maps.at(smoothing_um)
        value = f32(sign * smooth[window])
        if smoothing_um < _SMOOTHING_UM[1] and float(value[own].max()) < _FAINT:
            continue  # a faint thing has nothing fine about it that the sharpest map would show
        clear = f32(value / noise[window])
        peak = float(clear[own].max())
        if best is None or peak > most:
            best, most = (smoothing_um, value, clear), peak
        if peak >= enough:
            return smoothing_um, value, clear
    assert best is not None
    return best


@dataclass(frozen=True, slots=True, eq=False)
class _Region:
    """Cells of one spot, the level of its outline, its depth and where it is deepest."""

    mask: NDArray[np.bool_]
    level: float
    depth: float
    summit: tuple[int, int]


def _joined_to(
    value: NDArray[np.float32], near: NDArray[np.bool_], summit: tuple[int, int], level: float
) -> NDArray[np.bool_]:
    _, parts = cv2.connectedComponents(((value > level) & near).astype(np.uint8), connectivity=4)
    return np.asarray(parts == parts[summit], bool)


def _plateau(
    value: NDArray[np.float32], near: NDArray[np.bool_], taken: NDArray[np.bool_], region: _Region
) -> _Region:
    """Outline a mottled spot at half of its usual depth, not of its deepest place."""
    inside = cv2.erode(region.mask.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0
    if inside.sum() <= 16:
        return region
    usual = float(np.median(value[inside]))
    wider = _joined_to(value, near, region.summit, 0.5 * usual)
    if (wider & taken & ~region.mask).any():
        return region
    return _Region(wider, 0.5 * usual, usual, region.summit)


def _softness(value: NDArray[np.float32], near: NDArray[np.bool_], summit: tuple[int, int]) -> float:
    depth = float(value[summit])
    _, parts = cv2.connectedComponents(((value > 0.3 * depth) & near).astype(np.uint8), connectivity=4)
    own = value[parts == parts[summit]]
    wide, middle, tight = (float(np.sqrt((own > level * depth).sum())) for level in (0.3, 0.5, 0.7))
    return (wide - tight) / max(middle, 1.0)


def _contour(value: NDArray[np.float32], mine: NDArray[np.bool_], level: float) -> NDArray[np.float64] | None:
    """Outer outline (x, y) of a region at a level, between cells, in cells of the window."""
    grown = cv2.dilate(mine.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    # what lies beyond the region's own rim must not join its outline
    own = np.where(grown, value, np.minimum(value, level - 1e-6))
    lines = find_contours(np.pad(own, 1, constant_values=level - 1e-3).astype(np.float64), level)
    closed = [line for line in lines if len(line) > 3]
    if not closed:
        return None
    line = max(closed, key=lambda c: float(np.ptp(c[:, 0]) * np.ptp(c[:, 1])))
    out: NDArray[np.float64] = line[:-1, ::-1] - 1
    return out
