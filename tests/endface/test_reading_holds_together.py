"""Whatever lies on a face, its reading holds together."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from workstation.endface import read_face
from workstation.simulator.random_faces import random_case
from workstation.simulator.render import render
from workstation.values import Feature, Fit, Form, Reading


def crosses_itself(outline: np.ndarray) -> bool:
    """Whether two edges of a closed polygon that aren't neighbours cross (signs of the four areas)."""
    a, b = outline, np.roll(outline, -1, axis=0)

    def side(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> np.ndarray:
        return np.asarray((q[..., 0] - p[..., 0]) * (r[..., 1] - p[..., 1])
                          - (q[..., 1] - p[..., 1]) * (r[..., 0] - p[..., 0]))  # fmt: skip

    p, q, r, s = a[:, None], b[:, None], a[None], b[None]
    cross = (side(p, q, r) * side(p, q, s) < -1e-12) & (side(r, s, p) * side(r, s, q) < -1e-12)
    return bool(cross.any())


def numbers(value: object) -> list[float]:
    if isinstance(value, float | int):
        return [float(value)]
    if isinstance(value, tuple):
        return [one for part in value for one in numbers(part)]
    if hasattr(type(value), "__dataclass_fields__"):
        return [one for name in type(value).__dataclass_fields__ for one in numbers(getattr(value, name))]
    return []


def check_feature(feature: Feature) -> None:
    outline = np.asarray(feature.outline_um)
    assert len(outline) >= 3
    assert not np.array_equal(outline[0], outline[-1]), "the first point is repeated"
    assert ConvexHull(outline).volume > 0
    assert 0 <= feature.inner_um <= feature.outer_um
    assert feature.size_um > 0
    assert feature.width_um > 0
    assert feature.length_um > 0
    assert feature.size_error_um > 0
    assert feature.width_error_um > 0
    assert feature.width_um <= feature.length_um + 1e-9
    assert 0 < abs(feature.contrast) <= 5
    assert feature.contrast >= -1
    assert 0 <= feature.confidence <= 1
    distance = np.hypot(*outline.T)
    assert feature.outer_um == pytest.approx(float(distance.max()), rel=0.02, abs=0.3)
    assert feature.inner_um <= distance.min() * 1.02 + 0.5
    low, high = outline.min(axis=0) - 1e-6, outline.max(axis=0) + 1e-6
    assert np.all((low <= feature.centroid_um) & (feature.centroid_um <= high)), "centroid outside"
    reach = max(math.dist(one, two) for one in outline[::4] for two in outline[::4])
    assert feature.size_um >= 0.85 * reach - 0.3
    if feature.form is Form.SCRATCH:
        assert feature.length_um >= 2 * feature.width_um


def check_reading(reading: Reading) -> None:
    assert all(math.isfinite(number) for number in numbers(reading))
    assert [one.id for one in reading.features] == list(range(1, len(reading.features) + 1))
    if not isinstance(reading.fit, Fit) or not reading.readiness.ok:
        assert reading.features == ()
        return
    assert reading.view_um is not None
    left, top, right, bottom = reading.view_um
    assert left < 0 < right
    assert top < 0 < bottom
    assert reading.occlusion is not None
    assert 0 <= reading.occlusion.weighted_fraction < 1
    assert reading.occlusion.loss_db >= 0
    assert reading.readiness.smallest_visible_um is not None
    assert reading.readiness.smallest_visible_um > 0
    for feature in reading.features:
        check_feature(feature)


@pytest.mark.slow
@settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(
    seed=st.integers(80_000, 80_999), contents=st.sampled_from(["mixed", "oil", "residue", "scratches", None])
)
def test_a_reading_of_any_face_holds_together(seed: int, contents: str | None) -> None:
    check_reading(read_face(render(*random_case(seed, contents=contents, size_px=(1280, 1024)), seed).pixels))


@pytest.mark.slow
@settings(max_examples=6, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(
    seed=st.integers(81_000, 81_999),
    fault=st.sampled_from(["cut_off", "burnt_out", "black", "no_fibre", "defocused"]),
)
def test_a_reading_of_a_spoilt_picture_holds_together_and_is_not_ready(seed: int, fault: str) -> None:
    reading = read_face(render(*random_case(seed, fault=fault, size_px=(640, 480)), seed).pixels)
    check_reading(reading)
    assert not reading.readiness.ok


@pytest.mark.slow
@settings(max_examples=5, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.integers(82_000, 82_999))
def test_no_outline_crosses_itself(seed: int) -> None:
    picture = render(*random_case(seed, contents="mixed", size_px=(1280, 1024)), seed)
    for feature in read_face(picture.pixels).features:
        outline = np.asarray(feature.outline_um)
        assert not crosses_itself(outline), (
            f"feature {feature.id}, {feature.form.value}, {feature.size_um:.1f} µm"
        )


@pytest.mark.parametrize("pixels", [np.zeros((480, 640), np.uint8), np.full((10, 10), 9, np.uint8)])
def test_without_a_fit_there_is_nothing_but_the_reason(pixels: np.ndarray) -> None:
    reading = read_face(pixels)
    assert reading.features == ()
    assert reading.view_um is None
    assert reading.occlusion is None
    assert not reading.readiness.ok
    check_reading(reading)
