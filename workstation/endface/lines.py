"""Scratches: faint lines, found by adding up along them.

A contrast map goes in; `Line`s come out. Idea: turned to each of many directions, the map is held against a
narrow profile across and averaged along three pieces of seven micrometres; the median of the three answers to a
line and not to a spot (a short form of the beamlet idea, Donoho and Huo, in Multiscale and Multiresolution
Methods, Springer 2002). Ridges of the strongest answer are linked by place and direction, so that crossing lines
stay apart and bent ones whole; width and depth come from the mean profile across the whole line.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from workstation.endface.arrays import f32
from workstation.endface.background import Face
from workstation.endface.plane import CELL_UM, MIDDLE
from workstation.endface.spots import hidden_rays, noise_map
from workstation.endface.unblur import strip_width_um

_DIRECTIONS = 36
_PIECE_UM = 7.0
_WIDTH_SIGMAS_UM = (0.5, 1.2)
_POSITION_ERROR_UM = 0.12
_CLIP = 4.0
_HIGH, _LOW = 7.0, 4.5
_LEAST_LENGTH_UM = 8.0
_MOST = 80
# Shallower than this it is texture or a fringe: 0.5 µm at a contrast of 0.07 keeps 0.02 under a blur of 0.6 µm.
_LEAST_DEPTH = 0.012
_BROAD_UM, _LEAST_BROAD_DEPTH = 4.0, 0.04
# A scratch bends, but what turns further than this on its way is part of a ring.
_MOST_TURNING = 1.1
# What reading the plane along the path adds: bilinear sampling of its cells, and a smoothing of one sample.
_READING_BLUR_UM = float(np.sqrt(CELL_UM**2 / 6 + 0.125**2))
_ACROSS_UM = np.arange(-72, 73) * 0.125


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One line.

    Attributes
    ----------
    sign
        −1 darker, +1 brighter than the background.
    path_um
        float64, (n, 2): middle line, a point about every micrometre.
    half_depth_um
        Width at half depth as seen; width_um with the blur taken off.
    length_um
        Along the path.
    depth
        Mean contrast along the middle as seen; significance is that over its own error.
    """

    sign: int
    path_um: NDArray[np.float64]
    half_depth_um: float
    width_um: float
    length_um: float
    depth: float
    significance: float


def find_lines(
    face: Face,
    spots: NDArray[np.bool_] | None,
    blur_um: float,
    edges: Sequence[tuple[float, float, float]] = ((0.0, 0.0, 62.5),),
) -> list[Line]:
    """Find scratches.

    Parameters
    ----------
    face
        The contrast map.
    spots
        bool like the plane: compact spots to leave out; None for none.
    blur_um
        Standard deviation of the blur in the plane.
    edges
        Centre (x, y) and radius of the circles on the face whose own edge could pass for a line, in micrometres.

    Returns
    -------
    list of Line
        Strongest first.
    """
    contrast = face.contrast
    noise = noise_map(contrast, np.float32(_POSITION_ERROR_UM) * face.steepness, hidden_rays(face))
    scaled = np.clip(contrast / noise, -_CLIP, _CLIP)
    if spots is not None:
        scaled[spots] = 0
    shown = (np.ones(contrast.shape, bool) if face.seen is None else face.seen).astype(np.float32)
    chains: list[tuple[int, NDArray[np.float64], float]] = []
    for step, reach_um in ((2, 72.0), (4, 130.0)):
        field, cell_um = _reduced(scaled, step, reach_um)
        seen = _reduced(shown, step, reach_um)[0] > 0.5
        for sign, z, direction in _strongest(field, seen, cell_um):
            # what lies in the ferrule is left to the coarser field, which knows more of its grain
            chains += [
                (sign, points, peak)
                for points, peak in _chains(z, direction, cell_um)
                if reach_um > 100 or float(np.hypot(*points.T).min()) < 64.0
            ]
    chains.sort(key=lambda item: -item[2])
    del chains[_MOST:]
    lines: list[Line] = []
    covered = np.zeros(contrast.shape, np.uint8)
    for sign, points, _ in _joined(chains):
        if _already(covered, points):
            continue
        line = _measure(face, sign, points, blur_um)
        if line is None or _of_an_edge(line, edges) or _turning(line.path_um) > _MOST_TURNING:
            continue
        if not _already(covered, line.path_um) and not any(_is_tail(line, other) for other in lines):
            lines.append(line)
            _cover(covered, line, blur_um)
    return lines


def _is_tail(line: Line, other: Line) -> bool:
    """Whether a line is what the search sees of a stronger one past its end."""
    if line.sign != other.sign or abs(line.depth) > 0.5 * abs(other.depth):
        return False
    ends = [
        (a, b) for a in (line.path_um[0], line.path_um[-1]) for b in (other.path_um[0], other.path_um[-1])
    ]
    near = min(float(np.hypot(*(a - b))) for a, b in ends)
    _, _, along = _ends(line.path_um)
    _, _, stem = _ends(other.path_um)
    return near < 8.0 and abs(float(along @ stem)) > np.cos(np.radians(15))


def _of_an_edge(line: Line, edges: Sequence[tuple[float, float, float]]) -> bool:
    """Whether a line runs along the edge of core or cladding: no scratch follows a circle."""
    for x, y, radius in edges:
        off = np.abs(np.hypot(line.path_um[:, 0] - x, line.path_um[:, 1] - y) - radius)
        if float(np.quantile(off, 0.9)) < 2.2:
            return True
    return False


def _turning(path_um: NDArray[np.float64]) -> float:
    """How far the direction turns from one end to the other, in radians."""
    piece = max(3, len(path_um) // 5)
    first, last = path_um[piece] - path_um[0], path_um[-1] - path_um[-1 - piece]
    return abs(float(np.angle(complex(*last) / complex(*first)))) if np.hypot(*first) > 0 else 0.0


def _reduced(scaled: NDArray[np.float32], step: int, reach_um: float) -> tuple[NDArray[np.float32], float]:
    half = int(reach_um / (CELL_UM * step)) * step
    crop = scaled[MIDDLE - half : MIDDLE + half + 1, MIDDLE - half : MIDDLE + half + 1]
    smooth = cv2.GaussianBlur(crop, (0, 0), 0.45 * step)
    return np.ascontiguousarray(smooth[::step, ::step]), CELL_UM * step


def _profile_kernel(cell_um: float, sigma_um: float) -> NDArray[np.float32]:
    sigma, wide = sigma_um / cell_um, 3.0 * sigma_um / cell_um + 1.0
    half = int(np.ceil(2.5 * wide))
    x = np.arange(-half, half + 1)
    centre, around = np.exp(-0.5 * (x / sigma) ** 2), np.exp(-0.5 * (x / wide) ** 2)
    return f32(centre / centre.sum() - around / around.sum())


def _strongest(
    field: NDArray[np.float32], seen: NDArray[np.bool_], cell_um: float
) -> list[tuple[int, NDArray[np.float32], NDArray[np.uint8]]]:
    """Strongest answer over all directions in units of its noise, and which direction it was, by sign and width."""
    side = field.shape[0]
    middle = (side - 1) / 2
    piece = max(3, round(_PIECE_UM / cell_um))
    axis = (np.arange(side) - middle) * cell_um
    radius = np.hypot(axis[:, None], axis[None, :])
    # the first and last piece of a row have no neighbour to take a median with
    shown = seen & (radius < axis[-1]) & (np.abs(axis) < axis[-1] - _PIECE_UM)[None, :]
    zones = [z for z in (radius < 58, (radius >= 58) & (radius < 68), radius >= 68) if (z & shown).any()]
    kernels = [_profile_kernel(cell_um, sigma_um) for sigma_um in _WIDTH_SIGMAS_UM]
    one = np.ones((1, 1), np.float32)
    best = [np.full(field.shape, -np.inf, np.float32) for _ in range(2 * len(kernels))]
    direction = [np.zeros(field.shape, np.uint8) for _ in best]
    scales = [np.ones(field.shape, np.float32) for _ in kernels]
    for k in range(_DIRECTIONS):
        turn = cv2.getRotationMatrix2D((middle, middle), 180.0 * k / _DIRECTIONS, 1.0)
        turned = cv2.warpAffine(field, turn, (side, side), flags=cv2.INTER_LINEAR)
        for i, kernel in enumerate(kernels):
            answer = _median_of_three(
                f32(cv2.blur(cv2.sepFilter2D(turned, cv2.CV_32F, one, kernel), (piece, 1))), piece
            )
            if k == 0:
                _fill_scale(scales[i], answer, zones, shown)
            back = cv2.warpAffine(answer, turn, (side, side), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
            for j, signed in ((2 * i, back), (2 * i + 1, -back)):
                better = signed > best[j]
                np.copyto(best[j], signed, where=better)
                np.copyto(direction[j], np.uint8(k), where=better)
    return [(1 if j % 2 == 0 else -1, best[j] / scales[j // 2], direction[j]) for j in range(len(best))]


def _median_of_three(mean: NDArray[np.float32], piece: int) -> NDArray[np.float32]:
    """Median of the mean of a piece and of the pieces before and after it."""
    out = np.zeros_like(mean)
    before, here, after = mean[:, : -2 * piece], mean[:, piece:-piece], mean[:, 2 * piece :]
    low, high = cv2.min(before, after), cv2.max(before, after)
    out[:, piece:-piece] = cv2.max(low, cv2.min(high, here))
    return out


def _fill_scale(
    scale: NDArray[np.float32],
    answer: NDArray[np.float32],
    zones: list[NDArray[np.bool_]],
    shown: NDArray[np.bool_],
) -> None:
    for zone in zones:
        values = answer[zone & shown]
        scale[zone] = max(1.4826 * float(np.median(np.abs(values - np.median(values)))), 1e-4)


def _chains(
    z: NDArray[np.float32], direction: NDArray[np.uint8], cell_um: float
) -> list[tuple[NDArray[np.float64], float]]:
    """Ridge points of the answer, linked by place and direction; points (n, 2) in micrometres and the peak."""
    rows, columns = np.nonzero(z > _LOW)
    if len(rows) == 0:
        return []
    angle = direction[rows, columns] * (np.pi / _DIRECTIONS)
    # getRotationMatrix2D turns anticlockwise as seen, so a row of the turned picture runs along (cos, -sin)
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=1)
    value = z[rows, columns]
    keep = np.ones(len(rows), bool)
    for distance in (-1.5, -1.0, 1.0, 1.5):
        x = (columns + distance * normal[:, 0]).astype(np.float32)
        y = (rows + distance * normal[:, 1]).astype(np.float32)
        keep &= value >= cv2.remap(z, x[:, None], y[:, None], cv2.INTER_LINEAR)[:, 0] - 1e-4
    rows, columns, value, along = rows[keep], columns[keep], value[keep], along[keep]
    if len(rows) < 3:
        return []
    points = np.stack([columns, rows], axis=1).astype(float)
    pairs = cKDTree(points).query_pairs(2.9, output_type="ndarray")
    if len(pairs) == 0:
        return []
    cosine = np.abs((along[pairs[:, 0]] * along[pairs[:, 1]]).sum(1))
    pairs = pairs[cosine > np.cos(np.radians(11))]
    graph = coo_matrix((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(points),) * 2)
    count, label = connected_components(graph, directed=False)
    middle = (z.shape[0] - 1) / 2
    found = []
    order = np.argsort(label, kind="stable")
    starts = np.searchsorted(label[order], np.arange(count + 1))
    for k in range(count):
        mine = order[starts[k] : starts[k + 1]]
        peak = float(value[mine].max())
        if len(mine) * cell_um < 3.0 or peak < _HIGH:
            continue
        found.append(((points[mine] - middle) * cell_um, peak))
    return found


def _ends(
    points: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Both ends of a chain along its main direction, and that direction."""
    centre = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - centre, full_matrices=False)
    t = (points - centre) @ axes[0]
    return points[t.argmin()], points[t.argmax()], axes[0]


def _joined(
    chains: list[tuple[int, NDArray[np.float64], float]],
) -> list[tuple[int, NDArray[np.float64], float]]:
    """Join chains that carry on one another across a gap; strongest first."""
    pieces = list(chains)
    merged = True
    while merged:
        merged = False
        for i in range(len(pieces)):
            for j in range(len(pieces) - 1, i, -1):
                if pieces[i][0] == pieces[j][0] and _carry_on(pieces[i][1], pieces[j][1]):
                    pieces[i] = (
                        pieces[i][0],
                        np.vstack([pieces[i][1], pieces[j][1]]),
                        max(pieces[i][2], pieces[j][2]),
                    )
                    del pieces[j]
                    merged = True
    return pieces


def _carry_on(first: NDArray[np.float64], second: NDArray[np.float64]) -> bool:
    a0, a1, along_a = _ends(first)
    b0, b1, along_b = _ends(second)
    if abs(float(along_a @ along_b)) < np.cos(np.radians(14)):
        return False
    gaps = [(a, b) for a in (a0, a1) for b in (b0, b1)]
    a, b = min(gaps, key=lambda pair: float(np.hypot(*(pair[0] - pair[1]))))
    gap = b - a
    distance = float(np.hypot(*gap))
    sideways = abs(float(gap[0] * along_a[1] - gap[1] * along_a[0]))
    overlap = _overlap(first, second, along_a)
    if overlap > 0:
        # one lies beside the other: the same line found twice where they are close
        centre = first.mean(axis=0)
        off = (second - centre) @ np.array([-along_a[1], along_a[0]])
        own = (first - centre) @ np.array([-along_a[1], along_a[0]])
        return abs(float(np.median(off) - np.median(own))) < 1.5
    return distance < 12.0 and sideways < 0.25 * distance + 1.0


def _overlap(first: NDArray[np.float64], second: NDArray[np.float64], along: NDArray[np.float64]) -> float:
    a, b = first @ along, second @ along
    return float(min(a.max(), b.max()) - max(a.min(), b.min()))


def _path(points: NDArray[np.float64], extra_um: float) -> NDArray[np.float64]:
    """Smooth middle line through ridge points, carried on by `extra_um` at both ends."""
    centre = points.mean(axis=0)
    _, _, axes = np.linalg.svd(points - centre, full_matrices=False)
    local = (points - centre) @ axes.T
    t, n = local[:, 0], local[:, 1]
    length = float(np.ptp(t))
    degree = 1 if length < 12 else 2 if length < 40 else 3
    weight = np.ones_like(t)
    half = max(length / 2, 1.0)
    middle = (t.max() + t.min()) / 2
    for _ in range(4):
        fit = np.polyfit((t - middle) / half, n, degree, w=weight)
        residual = np.abs(n - np.polyval(fit, (t - middle) / half))
        weight = 1 / np.maximum(residual, 0.3)
    along = np.arange(t.min() - extra_um, t.max() + extra_um + 0.5, 1.0)
    inside = np.clip((along - middle) / half, -1, 1)
    slope = np.polyval(np.polyder(fit), inside) / half
    beyond = along - (inside * half + middle)
    across = np.polyval(fit, inside) + slope * beyond
    out: NDArray[np.float64] = np.stack([along, across], axis=1) @ axes + centre
    return out


def normals(path_um: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the unit normals (n, 2) of a path (n, 2), to the right of its direction as seen with y down."""
    tangent = np.gradient(path_um, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T)[:, None], 1e-9)
    return np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)


def _straightened(contrast: NDArray[np.float32], path: NDArray[np.float64]) -> NDArray[np.float32]:
    normal = normals(path)
    x = MIDDLE + (path[:, :1] + _ACROSS_UM * normal[:, :1]) / CELL_UM
    y = MIDDLE + (path[:, 1:] + _ACROSS_UM * normal[:, 1:]) / CELL_UM
    return f32(cv2.remap(contrast, x.astype(np.float32), y.astype(np.float32), cv2.INTER_LINEAR))


def _measure(face: Face, sign: int, points: NDArray[np.float64], blur_um: float) -> Line | None:
    path = _path(points, 10.0)
    inside = np.hypot(*path.T) < 129.0
    path = path[inside]
    if len(path) < _LEAST_LENGTH_UM:
        return None
    path = _recentred(face.contrast, sign, path)
    rays = sign * _straightened(face.contrast, path)
    rays -= np.median(rays[:, np.abs(_ACROSS_UM) > 5.0], axis=1)[:, None]
    core = np.abs(_ACROSS_UM) <= max(0.6, blur_um)
    along = cv2.GaussianBlur(rays[:, core].mean(axis=1)[None, :], (0, 0), 1.2)[0]
    middle = along[10:-10] if len(along) > 26 else along
    typical = float(np.median(middle))
    if typical <= 0:
        return None
    run = _longest_run(along > 0.4 * typical)
    if run is None:
        return None
    first, last = run
    kept = rays[first : last + 1]
    profile = _mean_profile(kept)
    half = _half_depth(profile)
    if half is None:
        return None
    left, right = half
    seen = right - left
    # put the path onto the middle of the line
    middle_off = (left + right) / 2
    path = (path + middle_off * normals(path))[first : last + 1]
    length = float(np.hypot(*np.diff(path, axis=0).T).sum())
    width = strip_width_um(seen, float(np.hypot(blur_um, _READING_BLUR_UM)))
    depth = float(profile[np.abs(_ACROSS_UM - middle_off) <= 0.2].mean())
    side = kept[:, np.abs(_ACROSS_UM - middle_off) > max(3.0, seen)]
    if side.shape[1] == 0:
        return None
    # means along parallel paths beside the line scatter as the line's own mean does
    beside = profile[np.abs(_ACROSS_UM - middle_off) > max(3.0, seen)]
    error = float(side.std()) / np.sqrt(max(1.0, length * seen / (2 * blur_um + 0.5) ** 2)) + 1e-6
    error = max(error, float(beside.std()))
    broken = float((along[first : last + 1] < 0.25 * typical).mean())
    if (
        length < max(_LEAST_LENGTH_UM, 3.0 * width)
        or seen > 6.0
        or width > 4.6
        or depth / error < 6.0
        or broken > 0.2
    ):
        return None
    if depth < _LEAST_DEPTH or (width > _BROAD_UM and depth < _LEAST_BROAD_DEPTH):
        return None
    outside = float((np.hypot(*path.T) > 61.0).mean())
    if outside > 0.3 and (depth / error < 9.0 or length < 12.0):  # the ferrule's grain has longer tails
        return None
    if seen < 0.7 * 2.355 * blur_um:  # narrower than the optics could have made it: not of the face
        return None
    return Line(sign, path, seen, width, length, sign * depth, depth / error)


def _recentred(contrast: NDArray[np.float32], sign: int, path: NDArray[np.float64]) -> NDArray[np.float64]:
    """Put the path onto the line's own middle, piece by piece."""
    t = np.linspace(-1, 1, len(path))
    near = np.abs(_ACROSS_UM) <= 2.5
    for _ in range(2):
        rays = sign * _straightened(contrast, path)
        rays -= np.median(rays[:, np.abs(_ACROSS_UM) > 5.0], axis=1)[:, None]
        smooth = cv2.GaussianBlur(rays, (0, 0), 1.0, sigmaY=2.5)
        window = smooth[:, near]
        peak = window.max(axis=1)
        weight = np.maximum(window - 0.5 * peak[:, None], 0)
        total = weight.sum(axis=1)
        middle = (weight * _ACROSS_UM[near]).sum(axis=1) / np.maximum(total, 1e-9)
        good = peak > 0.5 * np.median(peak)
        if good.sum() < 6:
            return path
        degree = 1 if len(path) < 30 else 3
        fit = np.polyfit(t[good], middle[good], degree)
        for _ in range(3):
            residual = np.abs(middle - np.polyval(fit, t))
            fit = np.polyfit(t[good], middle[good], degree, w=1 / np.maximum(residual[good], 0.1))
        offset = np.clip(np.polyval(fit, t), -1.5, 1.5)
        path = path + offset[:, None] * normals(path)
    return path


def _mean_profile(rays: NDArray[np.float32]) -> NDArray[np.float64]:
    """Mean across the line with the outer tenths at each distance left out: a spot on the line doesn't count."""
    ordered = np.sort(rays, axis=0)
    cut = len(ordered) // 10
    out: NDArray[np.float64] = ordered[cut : len(ordered) - cut].mean(axis=0).astype(np.float64)
    return cv2.GaussianBlur(out[None, :], (0, 0), 1.0)[0] if len(out) else out


def _half_depth(profile: NDArray[np.float64]) -> tuple[float, float] | None:
    near = np.abs(_ACROSS_UM) < 2.5
    peak = int(np.flatnonzero(near)[profile[near].argmax()])
    level = profile[peak] / 2
    if level <= 0:
        return None
    left = np.flatnonzero(profile[:peak] < level)
    right = np.flatnonzero(profile[peak:] < level)
    if len(left) == 0 or len(right) == 0:
        return None
    i, j = int(left[-1]), peak + int(right[0])

    def cross(a: int, b: int) -> float:
        share = (level - profile[a]) / (profile[b] - profile[a])
        return float(_ACROSS_UM[a] + share * (_ACROSS_UM[b] - _ACROSS_UM[a]))

    return cross(i, i + 1), cross(j, j - 1)


def _longest_run(on: NDArray[np.bool_]) -> tuple[int, int] | None:
    """Longest run of true, gaps of up to three (dirt, a crossing) allowed inside."""
    index = np.flatnonzero(on)
    if len(index) == 0:
        return None
    breaks = np.flatnonzero(np.diff(index) > 4)
    starts, stops = np.r_[0, breaks + 1], np.r_[breaks, len(index) - 1]
    best = int((index[stops] - index[starts]).argmax())
    return int(index[starts[best]]), int(index[stops[best]])


def _cells(points: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    column = np.clip(np.rint(points[:, 0] / CELL_UM).astype(int) + MIDDLE, 0, 2 * MIDDLE)
    row = np.clip(np.rint(points[:, 1] / CELL_UM).astype(int) + MIDDLE, 0, 2 * MIDDLE)
    return row, column


def _already(covered: NDArray[np.uint8], points: NDArray[np.float64]) -> bool:
    return bool(covered[_cells(points)].mean() > 0.45)


def _cover(covered: NDArray[np.uint8], line: Line, blur_um: float) -> None:
    row, column = _cells(line.path_um)
    thickness = max(3, int((1.35 * line.half_depth_um + blur_um + 0.3) / CELL_UM))
    cv2.polylines(covered, [np.stack([column, row], axis=1).astype(np.int32)], False, 1, thickness)
