"""Readiness: what a picture is said to show, it shows; and what is wrong with it is said with its cure."""

import math
from dataclasses import replace

import pytest
from drawn_faces import SINGLE_MODE, disc, drawn, nearest, scene, strip

from workstation.endface import read_face
from workstation.simulator.scene import Fibre, Scene
from workstation.values import Fit, Form, Reading

BOTH = pytest.mark.parametrize("bright", [False, True], ids=["ferrule brighter", "cladding brighter"])
PLACES = [
    (r * math.cos(a), r * math.sin(a))
    for r, a in ((18, 0.3), (26, 1.4), (35, 2.4), (44, 3.5), (50, 4.5), (30, 5.5))
]
CAMERAS = {
    "sharp": {"blur_um": 0.4, "width_px": 800, "height_px": 640, "um_per_px": 0.3},
    "soft": {"blur_um": 1.1},
    "noisy": {"shot_noise": 7.0, "read_noise": 4.0},
    "dim and noisy": {"exposure": 90.0, "shot_noise": 3.0, "read_noise": 3.0},
}


def shown(reading: Reading) -> int:
    return sum(nearest(tuple(f for f in reading.features if f.contrast < 0), at) is not None for at in PLACES)


def of(what: Scene, seed: int = 1, **optics: object) -> Reading:
    return read_face(drawn(what, seed, **optics).pixels)


@BOTH
@pytest.mark.parametrize("camera", CAMERAS)
def test_the_smallest_visible_particle_really_is_visible(camera: str, bright: bool) -> None:
    smallest = of(scene(bright=bright), **CAMERAS[camera]).readiness.smallest_visible_um
    assert smallest is not None
    for seed in (2, 3):
        face = scene(SINGLE_MODE, *(disc(at, smallest, -0.3) for at in PLACES), bright=bright)
        assert shown(of(face, seed, **CAMERAS[camera])) == len(PLACES), f"{smallest} µm"


@BOTH
def test_half_that_size_at_a_third_of_that_contrast_is_not_promised(bright: bool) -> None:
    """In a noisy picture such particles mostly stay unseen: the number isn't far too careful either."""
    smallest = of(scene(bright=bright), **CAMERAS["noisy"]).readiness.smallest_visible_um
    assert smallest is not None
    face = scene(SINGLE_MODE, *(disc(at, smallest / 2, -0.1) for at in PLACES), bright=bright)
    assert shown(of(face, 2, **CAMERAS["noisy"])) <= len(PLACES) // 2


@BOTH
@pytest.mark.parametrize("camera", ["sharp", "noisy"])
def test_the_narrowest_scratch_really_is_visible(camera: str, bright: bool) -> None:
    narrowest = of(scene(bright=bright), **CAMERAS[camera]).readiness.narrowest_scratch_um
    assert narrowest is not None
    face = scene(SINGLE_MODE, strip((-40, 12), (38, 25), narrowest, -0.3), bright=bright)
    assert any(one.form is Form.SCRATCH for one in of(face, 2, **CAMERAS[camera]).features)


@pytest.mark.slow
@BOTH
@pytest.mark.parametrize("um_per_px", [0.2, 0.4])
@pytest.mark.parametrize("blur_um", [0.4, 0.6, 0.9, 1.2])
def test_the_blur_is_that_of_the_optics(blur_um: float, um_per_px: float, bright: bool) -> None:
    picture = drawn(scene(bright=bright), um_per_px=um_per_px, blur_um=blur_um, width_px=800, height_px=720)
    reading = read_face(picture.pixels)
    assert reading.readiness.blur_um == pytest.approx(blur_um, abs=0.1)


def test_more_blur_and_more_noise_show_less() -> None:
    by_blur = [
        of(scene(), blur_um=blur).readiness.smallest_visible_um or 0.0 for blur in (0.4, 0.7, 1.0, 1.25)
    ]
    assert by_blur == sorted(by_blur)
    quiet = of(scene()).readiness
    noisy = of(scene(), **CAMERAS["noisy"]).readiness
    assert (noisy.narrowest_scratch_um or 0) > (quiet.narrowest_scratch_um or 0)
    assert (noisy.smallest_visible_um or 0) >= (quiet.smallest_visible_um or 0)


@BOTH
def test_a_good_picture_meets_every_check(bright: bool) -> None:
    reading = of(scene(bright=bright))
    assert reading.readiness.ok
    assert all(check.ok for check in reading.readiness.checks)
    assert len({check.name for check in reading.readiness.checks}) == len(reading.readiness.checks)
    assert isinstance(reading.fit, Fit)


FAULTS: dict[str, tuple[dict[str, object], tuple[str, ...]]] = {
    "black": ({"exposure": 4.0}, ("lamp", "exposure", "gain")),
    "dim": ({"exposure": 30.0}, ("lamp", "exposure", "gain")),
    "white": ({"exposure": 1200.0}, ("lower", "exposure")),
    "a little blurred": ({"blur_um": 2.2}, ("focus",)),
    "far out of focus": ({"blur_um": 20.0}, ("focus",)),
    "cut off": ({"centre_px": (80.0, 239.5)}, ("move",)),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_what_is_wrong_is_said_with_what_to_do(fault: str) -> None:
    optics, words = FAULTS[fault]
    reading = of(scene(), **optics)
    assert not reading.readiness.ok
    failed = [check for check in reading.readiness.checks if not check.ok]
    advice = " ".join(check.advice for check in failed).lower()
    assert all(word in advice for word in words), advice
    for check in reading.readiness.checks:
        assert check.advice
        assert check.unit
        assert math.isfinite(check.value)


def test_a_white_cladding_is_told_to_lower_the_light() -> None:
    reading = of(scene(bright=True), exposure=400.0)
    failed = [check for check in reading.readiness.checks if not check.ok]
    assert failed
    assert "ower" in failed[0].advice


def test_an_empty_field_asks_for_a_connector() -> None:
    reading = of(replace(scene(None)))
    failed = [check for check in reading.readiness.checks if not check.ok]
    assert "connector" in failed[-1].advice


def test_an_edge_hidden_by_dirt_asks_for_cleaning() -> None:
    angles = [0.24 * k for k in range(15)]
    dirt = (disc((62.5 * math.cos(a), 62.5 * math.sin(a)), 14.0, -0.7) for a in angles)
    reading = of(scene(Fibre(core_step=0.03), *dirt))
    assert not reading.readiness.ok
    assert any(
        "lean" in check.advice or "connector" in check.advice
        for check in reading.readiness.checks
        if not check.ok
    )
