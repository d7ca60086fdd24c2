"""The fit of the cladding against scikit-image's own circle and ellipse models.

The models are fitted to sub-pixel edge points, where ``skimage.measure.find_contours`` has the level half-way
between cladding and ferrule: without a glue line that is the edge, whatever the blur. (A blurred circle's
half-level line moves inward by about sigma²/2R: below 2 nm here.)
"""

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from skimage.measure import CircleModel, EllipseModel, find_contours

from workstation.endface import find_fibre
from workstation.simulator.optics import Optics
from workstation.simulator.render import Rendered, render
from workstation.simulator.scene import Fibre, Scene
from workstation.values import Fit, NoFit

CENTRE_PX = (388.37, 311.81)

# Where the ferrule is the brighter, no glue line at all looks much like one far narrower than the blur, and
# the cladding then ends a little further in. No real face is without glue; 0.4 % is what is promised.
DIAMETER_SHARE = {True: 0.001, False: 0.004}


def face(um_per_px: float, *, bright: bool, diameter_um: float = 125.0, axis_ratio: float = 1.0) -> Rendered:
    """Render a face without core and glue line, even and nearly without noise."""
    scene = Scene(
        fibres=(Fibre(cladding_diameter_um=diameter_um, core_step=0.0, glue_width_um=0.0, glue_depth=0.0),),
        ferrule_level=0.4 if bright else 1.0,
        cladding_level=1.0 if bright else 0.4,
        grain=0.0,
        texture=0.0,
        axis_ratio=axis_ratio,
        axis_angle_rad=0.7,
    )
    optics = Optics(
        width_px=800,
        height_px=640,
        um_per_px=um_per_px,
        centre_px=CENTRE_PX,
        blur_um=0.5,
        shot_noise=0.5,
        read_noise=0.5,
    )
    return render(scene, optics, seed=11)


def edge_points(pixels: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return the points (x, y) of the longest line at half level."""
    middle = float(np.median(pixels[300:320, 380:400]))
    corner = float(np.median(pixels[:20, :20]))
    longest = max(find_contours(pixels.astype(float), (middle + corner) / 2), key=len)
    return np.asarray(longest[:, ::-1])


def fitted(pixels: NDArray[np.uint8]) -> Fit:
    fit = find_fibre(pixels)
    assert isinstance(fit, Fit), fit.message if isinstance(fit, NoFit) else fit
    return fit


@pytest.mark.parametrize("bright", [False, True], ids=["ferrule brighter", "cladding brighter"])
@pytest.mark.parametrize("um_per_px", [0.25, 0.32, 0.45])
@pytest.mark.parametrize("diameter_um", [124.3, 125.7])  # ITU-T G.657: 125.0 ± 0.7 µm (from memory)
def test_the_circle_is_the_one_that_scikit_image_fits(
    um_per_px: float, bright: bool, diameter_um: float
) -> None:
    picture = face(um_per_px, bright=bright, diameter_um=diameter_um)
    model = CircleModel.from_estimate(edge_points(picture.pixels))
    x, y, radius = (*model.center, model.radius)
    fit = fitted(picture.pixels)
    assert math.dist(fit.centre_px, (x, y)) * um_per_px <= 0.02
    assert fit.cladding_diameter_px == pytest.approx(2 * radius, rel=DIAMETER_SHARE[bright])
    # Both are right, and not only of one opinion.
    assert math.dist((x, y), CENTRE_PX) * um_per_px <= 0.02
    assert 2 * radius * um_per_px == pytest.approx(diameter_um, rel=0.001)
    assert fit.axis_ratio == pytest.approx(1.0, abs=0.002)


@pytest.mark.parametrize("bright", [False, True], ids=["ferrule brighter", "cladding brighter"])
@pytest.mark.parametrize("axis_ratio", [1.0098, 1.03])  # an 8° face seen straight: 1 / cos 8° = 1.0098
def test_the_ellipse_is_the_one_that_scikit_image_fits(axis_ratio: float, bright: bool) -> None:
    picture = face(0.32, bright=bright, axis_ratio=axis_ratio)
    model = EllipseModel.from_estimate(edge_points(picture.pixels))
    (x, y), (a, b), theta = model.center, model.axis_lengths, model.theta
    if a < b:
        a, b, theta = b, a, theta + math.pi / 2
    fit = fitted(picture.pixels)
    assert math.dist(fit.centre_px, (x, y)) * 0.32 <= 0.02
    assert fit.axis_ratio == pytest.approx(a / b, abs=0.001)
    turned = (fit.axis_angle_rad - theta + math.pi / 2) % math.pi - math.pi / 2
    assert turned == pytest.approx(0.0, abs=0.05)
    assert fit.cladding_diameter_px == pytest.approx(2 * math.sqrt(a * b), rel=DIAMETER_SHARE[bright])
    assert a / b == pytest.approx(axis_ratio, abs=0.001)
