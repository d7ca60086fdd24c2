"""The fibre in the live picture: followed from frame to frame, and searched again where it is lost."""

import math
from dataclasses import replace

import numpy as np
import pytest
from drawn_faces import SINGLE_MODE, drawn, fitted, multimode, off_um, scene

from workstation.endface import find_fibre, follow_fibre
from workstation.values import CoreKind, Fit, NoFit, NoFitReason

# Rings are drawn from it: a few tenths of a micrometre are less than a pixel of the screen.
LIVE_UM = 0.3
BOTH = pytest.mark.parametrize("bright", [False, True], ids=["ferrule brighter", "cladding brighter"])


def followed(pixels: np.ndarray, previous: Fit | NoFit | None) -> Fit:
    found = follow_fibre(pixels, previous)
    assert isinstance(found, Fit), found.message if isinstance(found, NoFit) else found
    return found


@BOTH
def test_a_fibre_that_drifts_is_followed_step_by_step(bright: bool) -> None:
    at = np.array([300.0, 230.0])
    fit: Fit = fitted(drawn(scene(bright=bright), centre_px=(at[0], at[1])).pixels)
    for step in range(1, 9):
        at = at + np.array([4.3, 1.7])
        picture = drawn(scene(bright=bright), seed=step, centre_px=(at[0], at[1]))
        fit = followed(picture.pixels, fit)
        assert off_um(fit, (at[0], at[1])) <= LIVE_UM
        assert fit.cladding_diameter_px == pytest.approx(125 / 0.4, rel=0.01)


@BOTH
@pytest.mark.parametrize("step_um", [1.0, 5.0, 15.0, 60.0])
def test_a_jump_of_any_length_ends_at_the_fibre(step_um: float, bright: bool) -> None:
    before = fitted(drawn(scene(bright=bright), centre_px=(240.0, 239.5)).pixels)
    at = (240.0 + step_um / 0.4, 239.5)
    after = followed(drawn(scene(bright=bright), seed=2, centre_px=at).pixels, before)
    assert off_um(after, at) <= LIVE_UM


@pytest.mark.parametrize("um_per_px", [0.3, 0.37, 0.43, 0.55])
def test_a_change_of_magnification_is_noticed(um_per_px: float) -> None:
    before = fitted(drawn(scene()).pixels)
    picture = drawn(scene(), um_per_px=um_per_px)
    after = followed(picture.pixels, before)
    assert after.um_per_px == pytest.approx(um_per_px, rel=0.008)
    assert off_um(after, picture.truth.centre_px) <= LIVE_UM


def test_the_other_polarity_is_found_by_searching() -> None:
    before = fitted(drawn(scene(bright=True)).pixels)
    after = followed(drawn(scene(bright=False)).pixels, before)
    assert after.polarity is not before.polarity
    assert off_um(after, (319.5, 239.5)) <= LIVE_UM


def test_without_a_fit_before_it_is_the_search() -> None:
    picture = drawn(scene()).pixels
    searched = find_fibre(picture)
    assert follow_fibre(picture, None) == searched
    assert follow_fibre(picture, NoFit(NoFitReason.MISSING, "nothing")) == searched


def test_a_fibre_that_has_gone_is_not_followed() -> None:
    before = fitted(drawn(scene()).pixels)
    for picture, reason in (
        (drawn(scene(None)).pixels, NoFitReason.MISSING),
        (drawn(scene(), exposure=4.0).pixels, NoFitReason.BLACK),
        (drawn(scene(), exposure=1200.0).pixels, NoFitReason.OVER_EXPOSED),
        (drawn(scene(), centre_px=(90.0, 239.5)).pixels, NoFitReason.CUT_OFF),
        (np.full((40, 40), 100, np.uint8), NoFitReason.TOO_SMALL),
    ):
        found = follow_fibre(picture, before)
        assert isinstance(found, NoFit)
        assert found.reason is reason


def test_a_fibre_that_creeps_out_of_the_frame_is_called_cut_off_and_not_followed_to_its_core() -> None:
    face = scene(multimode(50.0, 0.4))
    fit: Fit | NoFit = fitted(drawn(face, centre_px=(200.0, 239.5), exposure=150.0).pixels)
    for x in range(180, 105, -18):
        fit = follow_fibre(drawn(face, centre_px=(float(x), 239.5), exposure=150.0).pixels, fit)
        if x < 155:
            assert isinstance(fit, NoFit)
            assert fit.reason is NoFitReason.CUT_OFF


def test_the_core_moves_along() -> None:
    fibre = replace(SINGLE_MODE, core_step=0.3, core_offset_um=(0.4, -0.3))
    before = fitted(drawn(scene(fibre), centre_px=(310.0, 240.0)).pixels)
    picture = drawn(scene(fibre), seed=2, centre_px=(316.4, 236.3))
    core = followed(picture.pixels, before).core
    assert core is not None
    assert core.kind is CoreKind.SINGLE_MODE
    assert picture.truth.core_centre_px is not None
    assert math.dist(core.centre_px, picture.truth.core_centre_px) * 0.4 <= 2 * LIVE_UM


def test_a_picture_of_a_wrong_type_is_refused_whatever_was_before() -> None:
    before = fitted(drawn(scene()).pixels)
    for previous in (None, before):
        with pytest.raises(ValueError, match="8-bit grey"):
            follow_fibre(np.zeros((480, 640), np.uint16), previous)
