"""Outlines in micrometres, and their true sizes."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import ConvexHull

from workstation.simulator.scene import Outline

Points = NDArray[np.float64]
Place = tuple[float, float]


def as_outline(points: Points) -> Outline:
    """Turn an (n, 2) array into an outline, to the nanometre so that it reads the same from its JSON text."""
    return tuple((round(float(x), 3), round(float(y), 3)) for x, y in points)


def circle(centre: Place, diameter: float, corners: int = 96) -> Points:
    """Return a polygon with exactly the area of a circle, (corners, 2)."""
    step = 2 * math.pi / corners
    angle = np.arange(corners) * step
    radius = diameter / 2 * math.sqrt(step / math.sin(step))
    return np.column_stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle)])


def blob(
    rng: np.random.Generator,
    centre: Place,
    diameter: float,
    *,
    roughness: float = 0.2,
    harmonics: int = 6,
    stretch: float = 1.0,
    corners: int = 72,
) -> Points:
    """Return an irregular closed outline whose smallest enclosing circle has about the given diameter.

    ``roughness`` is the relative amplitude of the first harmonics; higher ones fall off. ``stretch`` is long
    over short axis, in a random direction.
    """
    angle = np.arange(corners) * (2 * math.pi / corners)
    radius = np.ones(corners)
    for order in range(2, harmonics + 2):
        radius += roughness * rng.normal() / order * np.cos(order * angle + rng.uniform(0, 2 * math.pi))
    radius = np.maximum(radius, 0.25)
    points = np.column_stack([radius * np.cos(angle) * stretch, radius * np.sin(angle)])
    turn = rng.uniform(0, 2 * math.pi)
    c, s = math.cos(turn), math.sin(turn)
    points = points @ np.array([[c, s], [-s, c]])
    middle, enclosing = smallest_circle(points)
    return np.asarray((points - middle) * (diameter / enclosing) + np.asarray(centre))


def angular(rng: np.random.Generator, centre: Place, diameter: float, corners: int = 7) -> Points:
    """Return an angular grain: a convex-ish polygon with few corners and slightly rounded edges."""
    angle = np.sort(
        rng.uniform(0, 2 * math.pi, corners) * 0.35 + np.arange(corners) * (2 * math.pi / corners)
    )
    radius = rng.uniform(0.6, 1.0, corners)
    points = np.column_stack([radius * np.cos(angle), radius * np.sin(angle) * rng.uniform(0.6, 1.0)])
    for _ in range(2):  # Chaikin's corner cutting
        ahead = np.roll(points, -1, axis=0)
        points = np.stack([0.8 * points + 0.2 * ahead, 0.2 * points + 0.8 * ahead], axis=1).reshape(-1, 2)
    middle, enclosing = smallest_circle(points)
    return np.asarray((points - middle) * (diameter / enclosing) + np.asarray(centre))


def stroke(line: Points, width: float | Points) -> Points:
    """Return the outline of a band along a line.

    Parameters
    ----------
    line
        (n, 2) middle line in micrometres.
    width
        Full width in micrometres, one number or one a point.
    """
    along = np.gradient(line, axis=0)
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-12)[:, None]
    half = np.broadcast_to(np.asarray(width, dtype=np.float64) / 2, (len(line),))[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]]) * half
    return np.concatenate([line + across, (line - across)[::-1]])


def ring(outer: Points, inner: Points) -> Points:
    """Return one outline of what lies between two: round the outer, across, and back round the inner."""
    return np.concatenate([outer, outer[:1], inner[:1], inner[::-1]])


def line_length(line: Points) -> float:
    """Return the length of an open line."""
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


def area(points: Points) -> float:
    """Return the area of a polygon (shoelace formula)."""
    ahead = np.roll(points, -1, axis=0)
    return abs(float(np.sum(points[:, 0] * ahead[:, 1] - ahead[:, 0] * points[:, 1]))) / 2


def centroid(points: Points) -> Place:
    """Return the centroid of a polygon's area."""
    origin = points.mean(axis=0)
    here = points - origin
    ahead = np.roll(here, -1, axis=0)
    cross = here[:, 0] * ahead[:, 1] - ahead[:, 0] * here[:, 1]
    total = float(cross.sum())
    if abs(total) < 1e-12:
        return float(origin[0]), float(origin[1])
    x, y = ((here + ahead) * cross[:, None]).sum(axis=0) / (3 * total) + origin
    return float(x), float(y)


def _circle_through(points: Sequence[Points]) -> tuple[Points, float]:
    """Return centre and radius of the circle through two points as diameter, or through three."""
    if len(points) == 1:
        return points[0], 0.0
    if len(points) == 2:
        centre = (points[0] + points[1]) / 2
        return centre, float(np.hypot(*(points[0] - centre)))
    a, b, c = points
    (bx, by), (cx, cy) = b - a, c - a
    twice = 2 * (bx * cy - by * cx)
    if abs(twice) < 1e-12:
        return a, math.inf
    b2, c2 = bx * bx + by * by, cx * cx + cy * cy
    shift = np.array([(cy * b2 - by * c2) / twice, (bx * c2 - cx * b2) / twice])
    return a + shift, float(np.hypot(*shift))


def smallest_circle(points: Points) -> tuple[Points, float]:
    """Return centre (2,) and diameter of the smallest circle around points.

    At most three points hold the circle. The farthest point outside joins them, the circle of these few is
    found by trying all pairs and triples, and so on: the radius only grows, so this ends, at the circle of
    all.
    """
    hull = points
    if len(points) > 3:
        spread = np.linalg.matrix_rank(points - points[0], tol=1e-9)
        hull = points[ConvexHull(points).vertices] if spread == 2 else points
    centre, radius = hull[0], 0.0
    held: list[Points] = [hull[0]]
    while True:
        away = np.hypot(*(hull - centre).T)
        if away.max() <= radius * (1 + 1e-12) + 1e-12:
            return np.asarray(centre), 2 * radius
        held, centre, radius = _smallest_of_few([*held, hull[away.argmax()]])


def _smallest_of_few(points: list[Points]) -> tuple[list[Points], Points, float]:
    """Return the points (two or three of at most four) that hold the smallest circle around all of them."""
    best: tuple[list[Points], Points, float] | None = None
    last = points[-1]
    others = points[:-1]
    tries = [[p, last] for p in others]
    tries += [[p, q, last] for i, p in enumerate(others) for q in others[i + 1 :]]
    for held in tries:
        centre, radius = _circle_through(held)
        if all(np.hypot(*(p - centre)) <= radius * (1 + 1e-10) + 1e-12 for p in points) and (
            best is None or radius < best[2]
        ):
            best = (held, centre, radius)
    if best is None:
        raise ValueError("No circle holds these points: are all of them finite numbers?")
    return best


def extent(points: Points) -> tuple[float, float]:
    """Return the largest and the smallest caliper width of an outline."""
    angle = np.arange(180) * (math.pi / 180)
    along = points @ np.stack([np.cos(angle), np.sin(angle)])
    widths = along.max(axis=0) - along.min(axis=0)
    return float(widths.max()), float(widths.min())


def contains_origin(points: Points) -> bool:
    """Tell whether (0, 0) lies inside a polygon (crossing rule)."""
    ahead = np.roll(points, -1, axis=0)
    spans = (points[:, 1] > 0) != (ahead[:, 1] > 0)
    here, there = points[spans], ahead[spans]
    at = here[:, 0] - here[:, 1] * (there[:, 0] - here[:, 0]) / (there[:, 1] - here[:, 1])
    return bool(np.count_nonzero(at > 0) % 2)


def edge_distance(points: Points) -> float:
    """Return the distance from (0, 0) to the nearest place on a polygon's edge."""
    along = np.roll(points, -1, axis=0) - points
    squared = np.maximum((along * along).sum(axis=1), 1e-18)
    share = np.clip(-(points * along).sum(axis=1) / squared, 0.0, 1.0)
    return float(np.hypot(*(points + share[:, None] * along).T).min())
