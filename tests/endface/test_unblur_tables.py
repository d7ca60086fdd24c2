"""The correction of sizes for blur, against SciPy's own integration of a disc and a strip under a Gaussian.

The image of a disc of radius a at distance r from its middle is the chance that a standard normal step from there
ends inside it: integral over -a..a of phi(x - r) (2 Phi(sqrt(a² - x²)) - 1) dx. That of a strip is one integral of
phi. Both are another route than the Hankel form and the error function that the room's tables are made by.
"""

import math
from collections.abc import Callable
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm

from workstation.endface.unblur import disc_depth, disc_diameter_um, strip_depth, strip_width_um


def disc_image(r: float, diameter: float) -> float:
    a = diameter / 2
    return float(
        quad(lambda x: norm.pdf(x - r) * (2 * norm.cdf(math.sqrt(max(a * a - x * x, 0.0))) - 1), -a, a)[0]
    )


def strip_image(r: float, width: float) -> float:
    return float(quad(norm.pdf, r - width / 2, r + width / 2)[0])


def half_depth(image: Callable[[float, float], float], size: float) -> float:
    """Return the full width at half of its own depth, for a blur of one."""
    middle = image(0.0, size)
    return 2 * float(brentq(lambda r: image(r, size) - middle / 2, 1e-9, size / 2 + 5.0, xtol=1e-6))


# Below one blur the half-depth width hardly changes with the size: no correction can be exact there.
SIZES = [1.0, 1.7, 2.5, 4.0, 7.0, 11.0, 20.0]


@pytest.mark.parametrize("blur_um", [0.4, 1.3])
@pytest.mark.parametrize("size", SIZES)
def test_a_disc_gets_back_the_size_that_blur_hid(size: float, blur_um: float) -> None:
    seen_um = half_depth(disc_image, size) * blur_um
    assert disc_diameter_um(seen_um, blur_um) == pytest.approx(
        size * blur_um, abs=0.03 * blur_um + 0.006 * size * blur_um
    )


@pytest.mark.parametrize("blur_um", [0.4, 1.3])
@pytest.mark.parametrize("size", SIZES)
def test_a_strip_gets_back_the_width_that_blur_hid(size: float, blur_um: float) -> None:
    seen_um = half_depth(strip_image, size) * blur_um
    assert strip_width_um(seen_um, blur_um) == pytest.approx(
        size * blur_um, abs=0.03 * blur_um + 0.006 * size * blur_um
    )


@pytest.mark.parametrize("size", [0.2, 0.5, *SIZES])
def test_what_is_left_of_the_depth_is_the_integral(size: float) -> None:
    assert disc_depth(0.7 * size, 0.7) == pytest.approx(disc_image(0.0, size), rel=1e-5)
    assert strip_depth(0.7 * size, 0.7) == pytest.approx(strip_image(0.0, size), rel=1e-5)


def test_the_image_of_a_point_has_hardly_any_size_left() -> None:
    """A Gaussian is 2 sqrt(2 ln 2) = 2.355 standard deviations wide at half depth."""
    for unblurred in (disc_diameter_um, strip_width_um):
        assert 0.0 <= unblurred(2.355 * 0.5, 0.5) <= 0.35 * 0.5
        assert 0.0 <= unblurred(1.5 * 0.5, 0.5) <= 0.35 * 0.5


@settings(max_examples=80, deadline=None, derandomize=True)
@given(seen=st.floats(0.1, 40), wider=st.floats(0.0, 5), blur=st.floats(0.1, 3), zoom=st.floats(0.2, 5))
def test_sizes_grow_with_the_image_and_with_the_unit_and_never_past_the_image(
    seen: float, wider: float, blur: float, zoom: float
) -> None:
    for unblurred in (disc_diameter_um, strip_width_um):
        size = unblurred(seen, blur)
        assert unblurred(seen + wider, blur) >= size - 1e-9
        assert unblurred(zoom * seen, zoom * blur) == pytest.approx(
            zoom * size, rel=1e-6, abs=0.01 * zoom * blur
        )
        # a disc of four blurs' width looks a little smaller than it is: its middle has not yet its whole depth
        assert size <= max(seen, 2.355 * blur) * 1.1


@pytest.mark.parametrize("unblurred", [disc_diameter_um, strip_width_um])
def test_a_little_wider_an_image_never_makes_a_smaller_thing(
    unblurred: Callable[[float, float], float],
) -> None:
    sizes = [unblurred(seen / 50, 1.0) for seen in range(1, 1500)]
    assert min(b - a for a, b in pairwise(sizes)) >= -0.01


@settings(max_examples=40, deadline=None, derandomize=True)
@given(size=st.floats(0.05, 30), more=st.floats(0.01, 5), blur=st.floats(0.1, 3))
def test_depth_is_a_share_that_grows_with_the_size_and_falls_with_the_blur(
    size: float, more: float, blur: float
) -> None:
    for depth in (disc_depth, strip_depth):
        assert 0.0 < depth(size, blur) <= 1.0
        assert depth(size + more, blur) >= depth(size, blur)
        assert depth(size, blur + more) <= depth(size, blur)
