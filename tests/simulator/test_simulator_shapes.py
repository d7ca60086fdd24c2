"""True sizes of outlines, against brute force and textbook figures."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from workstation.simulator import shapes

coordinate = st.floats(-100, 100).map(lambda value: round(value, 3))


def _brute_force(points: np.ndarray) -> float:
    """Smallest circle around points by trying every pair and every triple; returns its diameter."""
    best = math.inf
    for a, b in itertools.combinations(points, 2):
        middle, radius = (a + b) / 2, math.dist(a, b) / 2
        if np.hypot(*(points - middle).T).max() <= radius + 1e-7:
            best = min(best, 2 * radius)
    for a, b, c in itertools.combinations(points, 3):
        matrix = 2 * np.array([b - a, c - a])
        if abs(np.linalg.det(matrix)) < 1e-6:
            continue
        middle = np.linalg.solve(matrix, [(b @ b) - (a @ a), (c @ c) - (a @ a)])
        radius = math.dist(middle, a)
        if np.hypot(*(points - middle).T).max() <= radius + 1e-7:
            best = min(best, 2 * radius)
    return best


@given(arrays(np.float64, st.tuples(st.integers(3, 9), st.just(2)), elements=coordinate, unique=True))
def test_the_smallest_circle_is_the_one_that_brute_force_finds(points: np.ndarray) -> None:
    _, diameter = shapes.smallest_circle(points)
    assert diameter == pytest.approx(_brute_force(points), abs=1e-4)


@pytest.mark.parametrize(
    ("points", "diameter"),
    [
        ([(0, 0), (3, 0), (0, 4)], 5.0),  # right triangle: Thales' theorem
        ([(0, 0), (1, 0), (0.5, math.sqrt(3) / 2)], 2 / math.sqrt(3)),  # equilateral: circumcircle
        ([(0, 0), (10, 0), (5, 1)], 10.0),  # obtuse: the longest side
        ([(-1, -1), (1, -1), (1, 1), (-1, 1)], 2 * math.sqrt(2)),  # square
    ],
)
def test_the_smallest_circle_of_textbook_shapes(points: list[tuple[float, float]], diameter: float) -> None:
    assert shapes.smallest_circle(np.array(points, float))[1] == pytest.approx(diameter, abs=1e-9)


@given(st.integers(0, 10_000), st.floats(0.5, 60))
def test_blobs_and_grains_have_the_size_that_was_asked_for(seed: int, size: float) -> None:
    for make in (shapes.blob, shapes.angular):
        points = make(np.random.default_rng(seed), (3.0, -4.0), size)
        middle, diameter = shapes.smallest_circle(points)
        assert diameter == pytest.approx(size, rel=1e-9)
        assert middle == pytest.approx([3.0, -4.0], abs=1e-9 * size + 1e-9)


def test_a_circles_polygon_has_the_circles_area_and_nearly_its_diameter() -> None:
    points = shapes.circle((1, 2), 125.0, 1440)
    assert shapes.area(points) == pytest.approx(math.pi * 62.5**2, rel=1e-12)
    assert shapes.smallest_circle(points)[1] == pytest.approx(125.0, abs=0.0005)
    assert shapes.extent(points) == pytest.approx((125.0, 125.0), abs=0.001)


@given(st.integers(0, 10_000), st.floats(-40, 40), st.floats(-40, 40))
def test_distance_to_the_edge_agrees_with_many_points_along_it(seed: int, x: float, y: float) -> None:
    points = shapes.blob(np.random.default_rng(seed), (x, y), 20.0, roughness=0.3)
    share = np.linspace(0, 1, 200)[:, None, None]
    along = (points * (1 - share) + np.roll(points, -1, axis=0) * share).reshape(-1, 2)
    assert shapes.edge_distance(points) == pytest.approx(np.hypot(*along.T).min(), abs=0.01)


def test_a_straight_stroke_has_its_width_times_length_as_area() -> None:
    line = np.column_stack([np.linspace(0, 30, 31), np.linspace(0, 40, 31)])
    assert shapes.line_length(line) == pytest.approx(50.0)
    assert shapes.area(shapes.stroke(line, 1.5)) == pytest.approx(75.0)
