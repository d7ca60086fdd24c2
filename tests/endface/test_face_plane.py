"""The plane in micrometres: the same whatever the camera, straight whatever the tilt."""

import math
from dataclasses import replace

import numpy as np
import pytest
from drawn_faces import blurred_disc, disc, drawn, fitted, nearest, scene
from scipy.special import ndtr

from workstation.endface import read_face
from workstation.endface.plane import (
    CELL_UM,
    HALF_UM,
    MIDDLE,
    POLAR_RADII_UM,
    POLAR_RAYS,
    SIDE,
    coordinates,
    polar,
    tilt,
    to_plane,
)
from workstation.values import Fit


def fit_at(picture: np.ndarray, **changes: object) -> Fit:
    return replace(fitted(picture), **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("radius_px", [110.0, 210.0, 420.0])
def test_the_edge_lies_at_62_and_a_half_micrometres_whatever_the_camera(radius_px: float) -> None:
    picture = blurred_disc((1280, 1024), (640.4, 511.7), radius_px, inner=80, outer=200)
    plane = to_plane(picture, fitted(picture))
    assert plane.values.shape == plane.seen.shape == (SIDE, SIDE)
    radius = coordinates()[2]
    assert np.median(plane.values[radius < 58]) == pytest.approx(80, abs=1)
    assert np.median(plane.values[(radius > 67) & plane.seen]) == pytest.approx(200, abs=1)
    profile = np.median(polar(plane.values), axis=0)
    rising = np.interp(140.0, profile[230:280], POLAR_RADII_UM[230:280])
    # the same level of the formula that the picture was made by, blurred by 0.6 µm and the pixels
    blur = math.hypot(0.6, plane.sampling_um)
    u = np.linspace(0.0, 3.0, 3001)
    formula = 80 - 48 * ndtr(u / blur) + 168 * ndtr((u - 0.5) / blur)
    assert rising == pytest.approx(62.5 + u[np.searchsorted(formula, 140.0)], abs=0.3)


def test_a_pixels_place_is_its_cells_place() -> None:
    picture = blurred_disc((800, 640), (391.3, 322.6), 200.0, inner=80, outer=200)
    fit = fitted(picture)
    ramp = np.broadcast_to(np.linspace(20, 220, 800)[None, :], (640, 800)).astype(np.uint8)
    values = to_plane(np.ascontiguousarray(ramp), fit).values
    for x_um in (-60.0, 0.0, 45.0):
        x_px, _ = fit.to_px(x_um, 0.0)
        # grey levels are whole numbers, so half a level of rounding up or down is right
        assert values[MIDDLE, MIDDLE + round(x_um / CELL_UM)] == pytest.approx(20 + x_px * 200 / 799, abs=1.1)


def test_cells_outside_the_frame_are_known() -> None:
    picture = blurred_disc((640, 480), (200.0, 239.5), 156.25, inner=80, outer=200)
    plane = to_plane(picture, fitted(picture))
    assert not plane.all_seen
    x, y, _ = coordinates()
    expected = (x >= -200 * 0.4) & (x <= 439 * 0.4) & (np.abs(y) <= 239.5 * 0.4)
    assert (plane.seen != expected).mean() <= 0.005


def test_finer_and_coarser_pixels_state_the_blur_that_they_add() -> None:
    added = []
    for um_per_px in (0.125, 0.25, 0.5):
        radius = 62.5 / um_per_px
        picture = blurred_disc((1280, 1100), (639.5, 549.5), radius, inner=80, outer=200)
        added.append(to_plane(picture, fitted(picture)).sampling_um)
    assert added[1] == pytest.approx(
        0.25 * math.sqrt(1 / 6 + 1 / 12), rel=0.03
    )  # square pixels, linear reading
    assert added[2] == pytest.approx(0.5 * math.sqrt(1 / 6 + 1 / 12), rel=0.03)
    assert 0 < added[0] < 0.25


@pytest.mark.parametrize("angle_rad", [0.0, 0.6, 2.0])
def test_tilt_keeps_areas_and_makes_an_ellipse_of_the_stated_axes(angle_rad: float) -> None:
    picture = blurred_disc((640, 480), (320.0, 240.0), 156.0, inner=80, outer=200)
    turn = tilt(fit_at(picture, axis_ratio=1.0098, axis_angle_rad=angle_rad))
    assert np.linalg.det(turn) == pytest.approx(1.0, abs=1e-9)
    long, short = np.linalg.svd(turn, compute_uv=False)
    assert long / short == pytest.approx(1.0098, abs=1e-6)
    along = np.array([math.cos(angle_rad), math.sin(angle_rad)])
    assert turn @ along == pytest.approx(along * long, abs=1e-9)
    assert tilt(fit_at(picture, axis_ratio=1.0)) == pytest.approx(np.eye(2))


def test_polar_reads_radius_and_angle() -> None:
    x, y, radius = coordinates()
    rays = polar(radius)
    assert rays.shape == (POLAR_RAYS, len(POLAR_RADII_UM))
    assert np.abs(rays[:, 8:] - POLAR_RADII_UM[8:]).max() <= 0.03
    assert POLAR_RADII_UM.max() < HALF_UM
    right = polar(np.ascontiguousarray(np.broadcast_to(x, radius.shape)))
    down = polar(np.ascontiguousarray(np.broadcast_to(y, radius.shape)))
    quarter = POLAR_RAYS // 4
    assert right[0, 100] == pytest.approx(POLAR_RADII_UM[100], abs=0.02)
    assert down[quarter, 100] == pytest.approx(POLAR_RADII_UM[100], abs=0.02)


def test_on_a_tilted_face_things_are_placed_where_the_picture_shows_them() -> None:
    at = (30.0, -25.0)
    face = replace(scene(None), fibres=scene().fibres, features=(disc(at, 6.0, -0.6),),
                   axis_ratio=1.0098, axis_angle_rad=0.3)  # fmt: skip
    picture = drawn(face)
    reading = read_face(picture.pixels)
    true = picture.truth.features[0]
    found = nearest(reading.features, true.centroid_um)
    assert found is not None
    assert math.dist(found.centroid_um, true.centroid_um) <= 0.3
    assert found.size_um == pytest.approx(true.size_um, abs=3 * found.size_error_um)
