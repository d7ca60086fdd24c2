"""The contrast map: of a clean face nothing but noise is left, whatever the lamp; dirt doesn't bend it."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_faces import SINGLE_MODE, disc, drawn, fitted, multimode, scene, without_noise
from numpy.typing import NDArray

from workstation.endface.background import Face, flatten
from workstation.endface.plane import CELL_UM, coordinates, to_plane
from workstation.simulator.optics import Lamp
from workstation.simulator.scene import Scene

BOTH = pytest.mark.parametrize("bright", [False, True], ids=["ferrule brighter", "cladding brighter"])
WIDE = {"width_px": 800, "height_px": 760, "um_per_px": 0.35}
QUIET = {"shot_noise": 0.0, "read_noise": 0.0}
LAMPS = [Lamp(), Lamp(0.12, 0.0, 0.0), Lamp(-0.06, 0.08, 0.12)]


def contrast_of(what: Scene, **optics: object) -> Face:
    picture = drawn(what, **(WIDE | optics)).pixels
    fit = fitted(picture)
    return flatten(to_plane(picture, fit), fit)


def patches(face: Face, sigma_um: float = 2.0) -> NDArray[np.float64]:
    """Return the contrast with noise averaged out, where neither the edge nor the frame's border is near."""
    smooth = cv2.GaussianBlur(face.contrast, (0, 0), sigma_um / CELL_UM)
    radius = coordinates()[2]
    return smooth[(radius < 55) | ((radius > 70) & (radius < 122))].astype(np.float64)


@pytest.mark.slow
@BOTH
@pytest.mark.parametrize("lamp", LAMPS, ids=["even", "from one side", "vignetted"])
@pytest.mark.parametrize(
    "fibre",
    [SINGLE_MODE, replace(SINGLE_MODE, core_step=0.4, core_offset_um=(0.4, 0.3)), multimode(50.0, 0.05),
     multimode(62.5, 0.5, 0.6)],
    ids=["single-mode", "lit", "50", "62.5 lit"],
)  # fmt: skip
def test_without_noise_a_clean_face_leaves_nothing(fibre: object, lamp: Lamp, bright: bool) -> None:
    face = contrast_of(
        without_noise(scene(fibre, bright=bright)),  # type: ignore[arg-type]
        lamp=lamp,
        exposure=150.0,
        **QUIET,
    )
    left = patches(face)
    # 8 bits: half a grey level of some 60 is 0.8 %, and averages out in part
    assert np.median(np.abs(left)) <= 0.004
    assert np.quantile(np.abs(left), 0.999) <= 0.03


@BOTH
def test_with_noise_a_clean_face_leaves_the_noise_alone(bright: bool) -> None:
    noisy = contrast_of(scene(bright=bright), lamp=Lamp(0.1, -0.05, 0.1), shot_noise=2.0, read_noise=1.0)
    radius = coordinates()[2]
    inside = noisy.contrast[(radius > 10) & (radius < 55)]
    level = 200.0 * (1.0 if bright else 0.42)
    expected = np.sqrt(2.0**2 * level / 255 + 1.0) / level  # shot and read noise of one pixel
    assert abs(np.median(inside)) <= 0.002
    assert 0.3 * expected <= 1.4826 * np.median(np.abs(inside)) <= 1.2 * expected
    assert np.median(np.abs(patches(noisy))) <= 0.006


@BOTH
def test_dirt_does_not_bend_the_background_beside_it(bright: bool) -> None:
    dirt = (disc((-30.0, 10.0), 28.0, -0.7), disc((70.0, 40.0), 40.0, -0.6), disc((25.0, -20.0), 12.0, 0.5))
    face = contrast_of(without_noise(scene(SINGLE_MODE, *dirt, bright=bright)), exposure=150.0, **QUIET)
    x, y, radius = coordinates()
    beside = (radius < 55) | ((radius > 70) & (radius < 122))
    for (cx, cy), reach in (((-30.0, 10.0), 14), ((70.0, 40.0), 20), ((25.0, -20.0), 6)):
        far = np.hypot(x - cx, y - cy)
        assert abs(np.median(face.contrast[(far < reach - 2) & beside]) + (0.7, 0.6, -0.5)[
            [14, 20, 6].index(reach)]) <= 0.03  # fmt: skip
        beside &= far > reach + 3
    left = np.abs(face.contrast[beside])
    assert np.median(left) <= 0.006
    assert np.quantile(left, 0.99) <= 0.03


@pytest.mark.parametrize("contrast", [-0.95, -0.5, -0.25])
def test_a_particle_on_the_core_keeps_its_depth(contrast: float) -> None:
    """Near the centre a particle covers whole circles, so that a mean over the circle would take it for the face."""
    face = contrast_of(
        without_noise(scene(SINGLE_MODE, disc((0.0, 0.0), 5.0, contrast))),
        exposure=150.0,
        blur_um=0.4,
        **QUIET,
    )
    radius = coordinates()[2]
    assert np.median(face.contrast[radius < 1.2]) == pytest.approx(contrast, abs=0.12)
    assert np.abs(np.median(face.contrast[(radius > 6) & (radius < 12)])) <= 0.01


def test_what_the_frame_does_not_show_has_no_contrast() -> None:
    face = contrast_of(scene(), width_px=640, height_px=480, um_per_px=0.4)
    assert face.seen is not None
    assert not face.contrast[~face.seen].any()
    assert np.isfinite(face.contrast).all()
    assert np.isfinite(face.steepness).all()


def test_the_background_is_steep_at_the_edge_alone() -> None:
    face = contrast_of(without_noise(scene(replace(SINGLE_MODE, core_step=0.0))), **QUIET)
    rings = coordinates()[2]
    assert np.median(face.steepness[np.abs(rings - 62.5) < 0.7]) >= 0.1
    assert np.median(face.steepness[(rings > 10) & (rings < 55)]) <= 0.01
