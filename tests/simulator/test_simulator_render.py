"""Pictures against what physics and the kept truth say of them."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import erf

from workstation.simulator import deposits, features, shapes
from workstation.simulator.optics import Lamp, Optics
from workstation.simulator.random_faces import random_case
from workstation.simulator.render import blurred, draw, render
from workstation.simulator.scene import Fibre, Scene, SceneFeature
from workstation.simulator.truth import Truth, truth_of

_BARE = Fibre(core_step=0.0, glue_width_um=0.0, glue_depth=0.0)
_PLAIN = Scene(fibres=(_BARE,), ferrule_level=1.0, cladding_level=1.0, grain=0.0, texture=0.0)
_CLEAR = Optics(
    width_px=900, height_px=800, um_per_px=0.2, centre_px=(455.3, 396.8), shot_noise=0, read_noise=0
)


def _hole(feature: SceneFeature, optics: Optics, scene: Scene = _PLAIN) -> np.ndarray:
    """Relative depth that a feature takes out of an even face, float64."""
    with_it = draw(replace(scene, features=(feature,)), optics, np.random.default_rng(0))
    return with_it.astype(np.float64) - 1.0


@settings(max_examples=40)
@given(st.integers(0, 10_000), st.floats(0, 6.3), st.floats(1.0, 1.02), st.floats(0, 3.1))
def test_area_and_place_of_what_is_drawn_are_those_of_the_true_outline(
    seed: int, turn: float, ratio: float, axis: float
) -> None:
    # Source: shoelace area and centroid of the outline that is kept beside the picture.
    rng = np.random.default_rng(seed)
    pit = features.pit(rng, (float(rng.uniform(-50, 50)), float(rng.uniform(-50, 50))), 3.4, -0.5)
    scene = replace(_PLAIN, axis_ratio=ratio, axis_angle_rad=axis, features=(pit,))
    optics = replace(_CLEAR, rotation_rad=turn)
    depth = -_hole(pit, optics, scene)
    one = truth_of(scene, optics).features[0]
    outline = np.array(one.outline_um)
    y, x = np.indices(depth.shape)
    total = depth.sum()
    assert total * 0.2**2 == pytest.approx(0.5 * shapes.area(outline), rel=0.005)
    centre = ((depth * x).sum() / total - 455.3) * 0.2, ((depth * y).sum() / total - 396.8) * 0.2
    assert centre == pytest.approx(one.centroid_um, abs=0.01)


def test_a_glue_line_thinner_than_a_pixel_takes_exactly_its_area_of_light() -> None:
    # Source: area of a circle; levels of ferrule 1, glue 0.2 (half of the darker) and cladding 0.4.
    fibre = replace(_BARE, glue_width_um=0.1, glue_depth=0.5, bore_offset_um=(0.06, 0.03))
    scene = replace(_PLAIN, fibres=(fibre,), cladding_level=0.4)
    missing = (1.0 - draw(scene, _CLEAR, np.random.default_rng(0)).astype(np.float64)).sum() * 0.2**2
    glue = math.pi * (62.6**2 - 62.5**2)
    assert missing == pytest.approx(0.8 * glue + 0.6 * math.pi * 62.5**2, rel=1e-6)


def test_a_scratch_has_the_width_and_length_that_were_asked_for() -> None:
    scratch = features.scratch(np.random.default_rng(4), (-40, -10), (35, 20), 1.1, -0.4)
    one = truth_of(replace(_PLAIN, features=(scratch,)), _CLEAR).features[0]
    assert one.width_um == pytest.approx(1.1, abs=0.002)
    assert one.length_um == pytest.approx(math.dist((-40, -10), (35, 20)), rel=0.03)
    area = _hole(scratch, _CLEAR).sum() * 0.2**2 / -0.4
    assert area == pytest.approx(1.1 * one.length_um, rel=0.01)


@pytest.mark.parametrize(("blur_um", "um_per_px", "apart"), [(0.8, 0.2, 0.006), (0.3, 0.5, 0.03)])
def test_a_blurred_cladding_edge_is_an_error_function(blur_um: float, um_per_px: float, apart: float) -> None:
    # Source: a step blurred by a Gaussian is an error function; the pixel adds 1/12 px^2 to its variance,
    # and an edge of radius 62.5 um is straight enough.
    scene = replace(_PLAIN, cladding_level=0.25)
    optics = replace(_CLEAR, blur_um=blur_um, um_per_px=um_per_px, exposure=240.0)
    picture = render(scene, optics, 0).pixels.astype(np.float64) / 240
    y, x = np.indices(picture.shape)
    away = np.hypot(x - 455.3, y - 396.8) * um_per_px - 62.5
    near = np.abs(away) < 3
    sigma = math.hypot(blur_um, um_per_px / math.sqrt(12))
    expected = 0.25 + 0.75 * (1 + erf(away[near] / (sigma * math.sqrt(2)))) / 2
    assert np.abs(picture[near] - expected).max() < apart


@pytest.mark.parametrize("sigma", [0.3, 0.55, 0.8, 1.2, 2.0, 7.0, 12.3, 31.0, 60.0])
def test_blur_keeps_the_light_and_has_the_variance_of_its_sigma(sigma: float) -> None:
    # Source: second moment of a Gaussian.
    point = np.zeros((641, 641), np.float32)
    point[320, 320] = 1e4
    spread = blurred(point, sigma).astype(np.float64)
    x = np.arange(641)
    column = spread.sum(axis=0)
    middle = (column * x).sum() / column.sum()
    variance = (column * (x - middle) ** 2).sum() / column.sum()
    assert column.sum() == pytest.approx(1e4, rel=0.01)
    assert middle == pytest.approx(320, abs=0.05 * sigma)
    assert math.sqrt(variance) == pytest.approx(sigma, rel=0.03)


def test_noise_has_the_variance_that_the_optics_state() -> None:
    # Source: variance of independent noise adds, and rounding to whole grey levels adds 1/12.
    scene = Scene(fibres=(), ferrule_level=1.0, grain=0.0)
    optics = Optics(width_px=400, height_px=400, exposure=150.0, shot_noise=2.0, read_noise=1.0)
    pixels = render(scene, optics, 3).pixels.astype(np.float64)
    assert pixels.mean() == pytest.approx(150.0, abs=0.05)
    assert pixels.var() == pytest.approx(2.0**2 * 150 / 255 + 1.0 + 1 / 12, rel=0.03)


def test_zirconia_reflects_about_four_times_what_silica_does_and_the_scenes_stay_below_that() -> None:
    # Source: Fresnel at normal incidence; n = 1.4585 for silica (Malitson 1965) and about 2.16 for zirconia,
    # both from memory. Scatter and the lamp's angle lower the ratio in practice.
    silica, zirconia = (((n - 1) / (n + 1)) ** 2 for n in (1.4585, 2.16))
    assert zirconia / silica == pytest.approx(3.9, abs=0.2)
    for seed in range(40):
        scene, _ = random_case(seed, array=False)
        levels = sorted((scene.ferrule_level, scene.cladding_level))
        assert 1.29 < levels[1] / levels[0] < 4.01


def test_a_multimode_core_falls_to_half_its_step_at_its_radius_when_unblurred() -> None:
    fibre = replace(_BARE, core_diameter_um=50.0, core_step=0.4, core_edge=0.6)
    picture = draw(replace(_PLAIN, fibres=(fibre,)), _CLEAR, np.random.default_rng(0))
    y, x = np.indices(picture.shape)
    away = np.hypot(x - 455.3, y - 396.8) * 0.2
    assert picture[397, 455] == pytest.approx(1.4, abs=0.001)
    assert picture[(away > 24.5) & (away < 24.8)].mean() == pytest.approx(1 + 0.4 * 0.6, abs=0.01)
    assert picture[away > 25.3].max() == 1.0


def test_a_soft_film_is_at_half_its_depth_on_its_outline() -> None:
    film = deposits.film(np.random.default_rng(8), (0.0, 0.0), 60.0, -0.1)
    film = replace(film, layers=(replace(film.layers[0], mottle=0.0),))
    depth = _hole(film, _CLEAR)
    outline = np.array(film.outline_um) / 0.2 + [455.3, 396.8]
    columns, rows = np.rint(outline).astype(int).T
    assert np.median(depth[rows, columns]) == pytest.approx(-0.05, abs=0.006)


def test_a_ring_with_a_clear_middle_is_as_near_as_its_rim_and_a_filled_one_lies_on_the_centre() -> None:
    seen = set()
    for seed in range(12):
        ring = deposits.residue_ring(np.random.default_rng(seed), (0.0, 0.0), 40.0)
        one = truth_of(replace(_PLAIN, features=(ring,)), _CLEAR).features[0]
        seen.add(bool(ring.hole_um))
        assert (one.inner_um > 5) if ring.hole_um else (one.inner_um == 0.0)
        assert one.size_um == pytest.approx(40.0, abs=0.01)
        middle = _hole(ring, _CLEAR)[377:417, 435:475].mean()
        assert (abs(middle) < 1e-9) if ring.hole_um else (middle < -0.01)
    assert seen == {True, False}


def test_a_tilted_face_keeps_its_area_and_has_the_axis_ratio_of_its_truth() -> None:
    # Source: an 8 degree tilt foreshortens by cos 8 degrees (IEC 61755-3-2, from memory); the ratio of an
    # ellipse's axes is the root of the ratio of its second moments.
    scene = replace(_PLAIN, ferrule_level=0.0, axis_ratio=1 / math.cos(math.radians(8)), axis_angle_rad=0.4)
    optics = replace(_CLEAR, rotation_rad=0.5)
    picture = draw(scene, optics, np.random.default_rng(0)).astype(np.float64)
    y, x = np.indices(picture.shape)
    x, y = x - 455.3, y - 396.8
    total = picture.sum()
    xx, yy, xy = ((picture * a * b).sum() / total for a, b in ((x, x), (y, y), (x, y)))
    low, high = np.linalg.eigvalsh([[xx, xy], [xy, yy]])
    truth = truth_of(scene, optics)
    assert total * 0.2**2 == pytest.approx(math.pi * 62.5**2, rel=1e-6)
    assert math.sqrt(high / low) == pytest.approx(truth.axis_ratio, abs=1e-4)
    assert 0.5 * math.atan2(2 * xy, xx - yy) % math.pi == pytest.approx(truth.axis_angle_rad, abs=0.01)


def test_colour_gains_gamma_lamp_and_stuck_pixels_do_what_the_optics_say() -> None:
    scene = Scene(fibres=(), ferrule_level=1.0, grain=0.0)
    plain = Optics(width_px=101, height_px=81, exposure=100.0, shot_noise=0, read_noise=0)
    assert (render(scene, plain, 0).pixels == 100).all()
    coloured = render(scene, replace(plain, colour=(0.5, 1.0, 0.8)), 0).pixels
    assert coloured.shape == (81, 101, 3)
    assert coloured[40, 50].tolist() == [50, 100, 80]
    bent = render(scene, replace(plain, gamma=0.5), 0).pixels
    assert bent[40, 50] == round(255 * math.sqrt(100 / 255))
    leaning = render(scene, replace(plain, lamp=Lamp(along_x=0.2)), 0).pixels
    assert leaning[40, 0] == 80
    assert leaning[40, 100] == 120
    stuck = render(scene, replace(plain, hot_pixels=((3, 5, 90.0),)), 0).pixels
    assert stuck[5, 3] == 190
    assert np.count_nonzero(stuck != 100) == 1


def test_the_same_seed_gives_the_same_picture_and_another_seed_another() -> None:
    scene, optics = random_case(11, contents="mixed", size_px=(640, 480))
    one, again, other = (render(scene, optics, seed).pixels for seed in (1, 1, 2))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 100_000), st.sampled_from([None, "no_fibre", "cut_off"]))
def test_truth_survives_its_json_text(seed: int, fault: str | None) -> None:
    truth = truth_of(*random_case(seed, fault=fault))
    assert Truth.from_json(truth.to_json()) == truth


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"features": [{}]}', '{"features": 3}'])
def test_text_that_is_no_truth_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match="isn't the truth of a rendered picture"):
        Truth.from_json(text)
