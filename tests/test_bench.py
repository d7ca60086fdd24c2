"""The job from picture to verdict, and its estimate of blocked light, against values from outside.

The mode is Gaussian, power density exp(-2 r²/w²) with w half the mode field diameter, and an opaque mask that
covers the fraction f of it loses -20 log10(1 - f): D. Marcuse, Bell System Technical Journal 56, 703 (1977),
from memory. Fractions are integrated here by SciPy's quadrature, and compared with closed forms where there
are any.
"""

import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import dblquad
from scipy.special import erf

from workstation.bench import grade
from workstation.criteria import load_criteria
from workstation.endface import occlusion
from workstation.frames import read_picture
from workstation.simulator.features import pit
from workstation.simulator.optics import Optics
from workstation.simulator.render import render
from workstation.simulator.scene import Fibre, Layer, Scene, SceneFeature
from workstation.values import Cause, Form, Outcome, ScaleSource

MFD_UM = 9.2  # ITU-T G.652.D, 1310 nm: nominal 8.6 to 9.2 µm (from memory)
W_UM = MFD_UM / 2
SAMPLES = Path(__file__).parents[1] / "sample_captures"


def disc(radius_um: float, x_um: float = 0.0, corners: int = 1440) -> NDArray[np.float64]:
    angle = np.linspace(0, 2 * math.pi, corners, endpoint=False)
    return np.column_stack([x_um + radius_um * np.cos(angle), radius_um * np.sin(angle)])


def integrated_disc(radius_um: float, x_um: float) -> float:
    """Weighted fraction under a disc, by adaptive quadrature."""

    def density(y: float, x: float) -> float:
        return math.exp(-2 * (x * x + y * y) / W_UM**2)

    def chord(x: float) -> float:
        return math.sqrt(max(radius_um**2 - (x - x_um) ** 2, 0.0))

    inside, _ = dblquad(density, x_um - radius_um, x_um + radius_um, lambda x: -chord(x), chord, epsabs=1e-10)
    return inside / (math.pi * W_UM**2 / 2)


def integrated_polygon(points: NDArray[np.float64], w_um: float) -> float:
    """Weighted fraction under a polygon around (0, 0) axes, by Green's theorem and SciPy's error function.

    The inner integral over x of the density is an error function; what is left is a line integral over y
    along the outline, done with 64 points of Gauss-Legendre quadrature a side.
    """
    nodes, weights = np.polynomial.legendre.leggauss(64)
    total = 0.0
    for (x0, y0), (x1, y1) in zip(points, np.roll(points, -1, axis=0), strict=True):
        t = (nodes + 1) / 2
        x, y = x0 + t * (x1 - x0), y0 + t * (y1 - y0)
        inner = w_um * math.sqrt(math.pi / 8) * erf(math.sqrt(2) * x / w_um)
        total += float(np.sum(weights / 2 * inner * np.exp(-2 * y**2 / w_um**2))) * (y1 - y0)
    return abs(total) / (math.pi * w_um**2 / 2)


@pytest.mark.parametrize(
    ("radius_um", "x_um", "percent", "loss_db"),
    [  # computed once from the formulas above, four digits
        (0.5, 0.0, 2.335, 0.205),
        (1.0, 0.0, 9.019, 0.821),
        (1.5, 0.0, 19.157, 1.847),
        (2.5, 0.0, 44.608, 5.131),
        (2.5, 5.0, 7.498, 0.677),
        (2.5, 7.5, 0.729, 0.064),
        (1.0, 4.6, 1.338, 0.117),
        (5.0, 12.5, 0.0333, 0.003),
    ],
)
def test_an_opaque_disc_blocks_what_integration_says(
    radius_um: float, x_um: float, percent: float, loss_db: float
) -> None:
    true = integrated_disc(radius_um, x_um)
    assert 100 * true == pytest.approx(percent, abs=6e-4 if percent > 0.1 else 6e-5)
    if x_um == 0:
        assert true == pytest.approx(1 - math.exp(-2 * radius_um**2 / W_UM**2), rel=1e-8)
    assert true == pytest.approx(integrated_polygon(disc(radius_um, x_um), W_UM), rel=1e-4)
    found = occlusion([disc(radius_um, x_um)], (0.0, 0.0), MFD_UM)
    assert found.weighted_fraction == pytest.approx(true, rel=0.015)
    assert found.loss_db == pytest.approx(loss_db, rel=0.015, abs=0.001)
    assert found.mode_field_diameter_um == MFD_UM


@pytest.mark.parametrize(("width_um", "percent"), [(0.5, 8.656), (1, 17.210), (2, 33.628), (3, 48.571)])
def test_an_opaque_strip_blocks_an_error_function(width_um: float, percent: float) -> None:
    true = float(erf(math.sqrt(2) * width_um / 2 / W_UM))
    assert 100 * true == pytest.approx(percent, abs=6e-4)
    half = width_um / 2
    c, s = math.cos(0.3), math.sin(0.3)
    strip = np.array([[-half, -90.0], [half, -90.0], [half, 90.0], [-half, 90.0]]) @ np.array(
        [[c, s], [-s, c]]
    )
    assert occlusion([strip], (0.0, 0.0), MFD_UM).weighted_fraction == pytest.approx(true, rel=0.015)


@pytest.mark.parametrize(("loss_db", "percent"), [(0.1, 1.14), (0.2, 2.28), (0.5, 5.59)])
def test_loss_and_fraction_belong_together(loss_db: float, percent: float) -> None:
    radius_um = W_UM * math.sqrt(-math.log(1 - percent / 100) / 2)  # of the centred disc that blocks so much
    found = occlusion([disc(radius_um)], (0.0, 0.0), MFD_UM)
    assert found.loss_db == pytest.approx(-20 * math.log10(1 - found.weighted_fraction), rel=1e-9)
    assert found.loss_db == pytest.approx(loss_db, rel=0.02)


def test_features_that_overlap_block_once() -> None:
    once = occlusion([disc(2.0)], (0.0, 0.0), MFD_UM)
    twice = occlusion([disc(2.0), disc(1.0, 0.5)], (0.0, 0.0), MFD_UM)
    assert twice.weighted_fraction == pytest.approx(once.weighted_fraction, rel=1e-6)


def dark_disc(radius_um: float, x_um: float) -> SceneFeature:
    outline = tuple((float(x), float(y)) for x, y in disc(radius_um, x_um, 96))
    return SceneFeature(Form.DEFECT, Cause.LOOSE_DUST, -0.8, outline, (Layer(outline, -0.8),))


@pytest.mark.parametrize(("radius_um", "x_um"), [(1.5, 0.0), (2.5, 0.0), (2.5, 0.4), (2.5, 3.0), (2.5, 5.0)])
def test_a_graded_picture_gives_the_loss_of_what_is_in_it(radius_um: float, x_um: float) -> None:
    """A size has an error of about a quarter of a micrometre; the estimate must lie between its bounds."""
    scene = Scene(features=(dark_disc(radius_um, x_um),), ferrule_level=0.3, cladding_level=1.0)
    picture = render(scene, Optics(blur_um=0.35), seed=4)
    criteria = replace(load_criteria(), mode_field_diameter_um=MFD_UM)
    graded = grade(picture.pixels, criteria)
    assert graded.reading.occlusion is not None
    least = integrated_disc(radius_um - 0.25, x_um)
    most = integrated_disc(radius_um + 0.25, x_um)
    assert least <= graded.reading.occlusion.weighted_fraction <= most
    assert graded.verdict.outcome is Outcome.FAIL  # IEC 61300-3-35:2015: zone A to 25 µm holds no defect


def reflectance(index: float) -> float:
    """Fresnel, at right angles from air."""
    return ((index - 1) / (index + 1)) ** 2


@pytest.mark.parametrize(
    ("index", "percent", "return_loss_db", "two_faces_db"),
    [(1.45, 3.374, 14.72, 0.298), (1.4682, 3.598, 14.44, 0.318), (1.47, None, None, 0.320)],
)
def test_fresnel_s_handbook_values_are_those_of_his_formula(
    index: float, percent: float | None, return_loss_db: float | None, two_faces_db: float
) -> None:
    """Guards the numbers that the simulated levels below rest on (values computed, formula from memory)."""
    share = reflectance(index)
    if percent is not None and return_loss_db is not None:
        assert 100 * share == pytest.approx(percent, abs=6e-4)
        assert -10 * math.log10(share) == pytest.approx(return_loss_db, abs=0.006)
    assert -20 * math.log10(1 - share) == pytest.approx(two_faces_db, abs=6e-4)


def test_a_face_of_zirconia_and_silica_as_fresnel_has_them_is_graded() -> None:
    """Silica 1.4624 (cladding), 1.4677 (core) and zirconia 2.15 (ferrule): indices from memory."""
    cladding, core, ferrule = reflectance(1.4624), reflectance(1.4677), reflectance(2.15)
    assert core / cladding - 1 == pytest.approx(0.019, abs=5e-4)
    scene = Scene(
        fibres=(Fibre(core_step=core / cladding - 1),), ferrule_level=1.0, cladding_level=cladding / ferrule
    )
    graded = grade(render(scene, Optics(), seed=5).pixels, load_criteria())
    assert graded.verdict.outcome is Outcome.PASS
    # Nothing in zones A and B, which reach to 57.5 µm from the centre.
    assert [one for one in graded.reading.features if one.inner_um < 57.5] == []
    assert graded.seconds > 0


def test_a_scale_that_is_given_makes_every_length() -> None:
    scene = Scene(features=(dark_disc(4.0, 40.0),), ferrule_level=0.3, cladding_level=1.0)
    pixels = render(scene, Optics(), seed=6).pixels
    own, given = grade(pixels, load_criteria()), grade(pixels, load_criteria(), um_per_px=0.26)
    (first,), (second,) = own.reading.features, given.reading.features
    assert second.size_um / first.size_um == pytest.approx(0.26 / 0.25, rel=0.01)
    assert getattr(given.reading.fit, "scale_source", None) is ScaleSource.GIVEN


@pytest.mark.parametrize("scale", [0.0, -1.0, math.nan, math.inf])
def test_a_scale_that_is_no_scale_is_refused(scale: float) -> None:
    with pytest.raises(ValueError, match="positive"):
        grade(np.zeros((100, 100), np.uint8), load_criteria(), um_per_px=scale)


def test_the_pit_of_the_sample_blocks_what_its_true_outline_does() -> None:
    truth = json.loads((SAMPLES / "pit_in_core.truth.json").read_text(encoding="utf-8"))
    criteria = load_criteria()
    graded = grade(read_picture(SAMPLES / "pit_in_core.png"), criteria)
    assert graded.reading.occlusion is not None
    core = (np.asarray(truth["core_centre_px"]) - truth["centre_px"]) * truth["um_per_px"]
    outline = np.asarray(truth["features"][0]["outline_um"]) - core
    true = integrated_polygon(outline, criteria.mode_field_diameter_um / 2)
    assert graded.reading.occlusion.weighted_fraction == pytest.approx(true, rel=0.25)


def test_the_same_picture_gives_the_same_reading_and_verdict() -> None:
    scene = Scene(features=(pit(np.random.default_rng(3), (20.0, 30.0), 6.0),))
    pixels = render(scene, Optics(), seed=7).pixels
    first, second = grade(pixels, load_criteria()), grade(pixels.copy(), load_criteria())
    assert (first.reading, first.verdict) == (second.reading, second.verdict)
