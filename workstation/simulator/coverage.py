"""How much of every pixel a polygon covers: exact areas, so that edges are true to a small part of a pixel.

The boundary is cut at every pixel border it crosses. Each piece then lies in one pixel and adds its signed
height there; a running sum along the row turns heights into areas. This is the accumulation-buffer form of
Green's theorem that outline-font rasterisers use.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """A part of the picture.

    Attributes
    ----------
    values
        float32, shape (height, width).
    left, top
        Column and row of the patch's first pixel in the picture.
    """

    values: NDArray[np.float32]
    left: int
    top: int

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the picture that the patch covers."""
        rows, columns = self.values.shape
        return slice(self.top, self.top + rows), slice(self.left, self.left + columns)


def _pieces(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Cut a closed outline at every whole x and y; return (n + 1, 2) points, the last being the first."""
    ahead = np.roll(points, -1, axis=0)
    places = [np.arange(len(points), dtype=np.float64)]
    for axis in (0, 1):
        low = np.minimum(points[:, axis], ahead[:, axis])
        high = np.maximum(points[:, axis], ahead[:, axis])
        first = np.floor(low) + 1.0
        count = np.maximum(np.ceil(high) - first, 0.0).astype(np.int64)
        edge = np.repeat(np.arange(len(points)), count)
        start = np.repeat(np.cumsum(count) - count, count)
        line = first[edge] + (np.arange(len(edge)) - start)
        places.append(edge + (line - points[edge, axis]) / (ahead[edge, axis] - points[edge, axis]))
    at = np.sort(np.concatenate(places))
    edge = np.minimum(at.astype(np.int64), len(points) - 1)
    share = (at - edge)[:, None]
    cut = points[edge] * (1.0 - share) + ahead[edge] * share
    return np.concatenate([cut, cut[:1]])


def polygon_coverage(outline_px: NDArray[np.float64], width: int, height: int, pad: int = 0) -> Patch | None:
    """Return the covered share of each pixel, for the pixels that a polygon touches.

    Parameters
    ----------
    outline_px
        float64, shape (n, 2): corners (x, y) in pixels, in either direction; the first isn't repeated. The
        centre of the top-left pixel is (0, 0).
    width, height
        Size of the picture in pixels; the polygon may reach beyond it.
    pad
        Empty pixels to keep around the polygon, as room for a later blur.

    Returns
    -------
    Patch or None
        Covered share, 0 to 1, exact up to rounding; None where the polygon lies outside the picture. Where an
        outline overlaps itself the share is limited to 1.

    Examples
    --------
    >>> square = np.array([[-0.5, -0.5], [1.0, -0.5], [1.0, 0.5], [-0.5, 0.5]])
    >>> polygon_coverage(square, 4, 4).values.tolist()
    [[1.0, 0.5]]
    """
    points = np.asarray(outline_px, dtype=np.float64) + 0.5
    low = np.maximum(np.floor(points.min(axis=0)).astype(np.int64) - pad, 0)
    high = np.minimum(np.ceil(points.max(axis=0)).astype(np.int64) + pad, [width, height])
    if (high <= low).any():
        return None
    columns, rows = (int(n) for n in high - low)
    cut = _pieces(points - low)
    middle = 0.5 * (cut[1:] + cut[:-1])
    rise = cut[1:, 1] - cut[:-1, 1]
    row = np.floor(middle[:, 1]).astype(np.int64)
    inside = (row >= 0) & (row < rows) & (rise != 0.0)
    x = np.clip(middle[inside, 0], 0.0, columns)
    row, rise = row[inside], rise[inside]
    column = np.floor(x).astype(np.int64)
    share = x - column
    cell = row * (columns + 2) + column
    cells = np.concatenate([cell, cell + 1])
    heights = np.concatenate([rise * (1.0 - share), rise * share])
    buffer = np.bincount(cells, heights, minlength=rows * (columns + 2)).reshape(rows, columns + 2)
    area = np.abs(np.cumsum(buffer, axis=1)[:, :columns])
    return Patch(np.clip(area, 0.0, 1.0).astype(np.float32), int(low[0]), int(low[1]))
