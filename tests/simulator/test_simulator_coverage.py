"""Pixel coverage of polygons, against areas that geometry gives."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from workstation.simulator import shapes
from workstation.simulator.coverage import polygon_coverage
from workstation.simulator.optics import Optics
from workstation.simulator.render import draw
from workstation.simulator.scene import Fibre, Scene


def _star(seed: int, centre: tuple[float, float], size: float) -> np.ndarray:
    return shapes.blob(np.random.default_rng(seed), centre, size, roughness=0.4, harmonics=9)


@given(
    st.integers(0, 10_000),
    st.floats(20, 44),
    st.floats(20, 44),
    st.floats(0.5, 36),
)
def test_coverage_adds_up_to_the_polygons_area(seed: int, x: float, y: float, size: float) -> None:
    # Source: the shoelace formula for the area of a polygon.
    points = _star(seed, (x, y), size)
    patch = polygon_coverage(points, 64, 64)
    assert patch is not None
    values = patch.values.astype(np.float64)
    assert math.isclose(values.sum(), shapes.area(points), rel_tol=1e-5, abs_tol=1e-5)
    # Pixel by pixel: the mean over a grid 16 times as fine.
    fine = polygon_coverage((points + 0.5) * 16 - 0.5, 1024, 1024)
    assert fine is not None
    whole = np.zeros((1024, 1024))
    whole[fine.window] = fine.values
    coarse = whole.reshape(64, 16, 64, 16).mean(axis=(1, 3))
    np.testing.assert_allclose(values, coarse[patch.window], atol=2e-5)


def test_coverage_agrees_with_counting_points_inside() -> None:
    # Source: brute force, 40 x 40 points a pixel, by the crossing rule.
    points = _star(5, (9.3, 8.1), 13.0)
    patch = polygon_coverage(points, 20, 20)
    assert patch is not None
    n = 40
    steps = (np.arange(20 * n) + 0.5) / n - 0.5
    x, y = np.meshgrid(steps, steps)
    inside = np.zeros(x.shape, bool)
    for (ax, ay), (bx, by) in zip(points, np.roll(points, -1, axis=0), strict=True):
        spans = (ay > y) != (by > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            inside ^= spans & (x < ax + (y - ay) * (bx - ax) / (by - ay))
    counted = inside.reshape(20, n, 20, n).mean(axis=(1, 3))
    drawn = np.zeros((20, 20))
    drawn[patch.window] = patch.values
    np.testing.assert_allclose(drawn, counted, atol=0.02)


@given(st.integers(0, 10_000), st.floats(-20, 50), st.floats(-20, 50))
def test_a_polygon_over_the_frame_edge_is_drawn_as_if_the_frame_were_larger(
    seed: int, x: float, y: float
) -> None:
    points = _star(seed, (x, y), 24.0)
    part = np.zeros((32, 32), np.float32)
    patch = polygon_coverage(points, 32, 32)
    if patch is not None:
        part[patch.window] = patch.values
    whole = np.zeros((112, 112), np.float32)
    larger = polygon_coverage(points + 40, 112, 112)
    assert larger is not None
    whole[larger.window] = larger.values
    np.testing.assert_allclose(part, whole[40:72, 40:72], atol=1e-6)


def test_direction_of_the_outline_does_not_matter() -> None:
    points = _star(3, (10, 10), 12)
    one, other = polygon_coverage(points, 24, 24), polygon_coverage(points[::-1], 24, 24)
    assert one is not None
    assert other is not None
    np.testing.assert_allclose(one.values, other.values, atol=1e-6)


def test_a_ring_covers_the_difference_of_its_two_outlines() -> None:
    outer, inner = shapes.circle((15, 15), 20), shapes.circle((15.5, 15), 14)
    patch = polygon_coverage(shapes.ring(outer, inner), 32, 32)
    assert patch is not None
    # Source: area of a circle.
    assert math.isclose(patch.values.sum(dtype=np.float64), math.pi * (100 - 49), rel_tol=1e-5)
    assert patch.values[15 - patch.top, 15 - patch.left] == pytest.approx(0, abs=1e-9)


def test_a_cladding_has_the_area_of_its_circle_and_its_centre_where_the_truth_says() -> None:
    # Source: pi r^2, and symmetry. The renderer must be truer than anything that is measured with its help.
    for um_per_px, centre in ((0.12, (610.2, 555.7)), (0.25, (300.37, 281.81)), (0.55, (150.0, 130.4))):
        bare = Fibre(core_step=0.0, glue_width_um=0.0, glue_depth=0.0)
        scene = Scene(fibres=(bare,), ferrule_level=0.0, cladding_level=1.0, grain=0.0, texture=0.0)
        size = int(centre[0] * 2.1), int(centre[1] * 2.1)
        optics = Optics(width_px=size[0], height_px=size[1], um_per_px=um_per_px, centre_px=centre)
        picture = draw(scene, optics, np.random.default_rng(0)).astype(np.float64)
        y, x = np.indices(picture.shape)
        area = picture.sum()
        assert math.isclose(area * um_per_px**2, math.pi * 62.5**2, rel_tol=1e-7)
        assert math.isclose((picture * x).sum() / area, centre[0], abs_tol=1e-4)
        assert math.isclose((picture * y).sum() / area, centre[1], abs_tol=1e-4)
