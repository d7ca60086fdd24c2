"""Rings over a picture: where they are, and that none are left where the fibre no longer is."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from PySide6.QtCore import QRect
from PySide6.QtGui import QColor, QImage
from pytestqt.qtbot import QtBot
from window_stand_ins import fit_in

from workstation.window.overlay import Overlay, Ring
from workstation.window.picture_view import PictureView
from workstation.window.theme import DARK

pytestmark = pytest.mark.window

GREY = 128


@pytest.fixture
def view(qtbot: QtBot) -> PictureView:
    view = PictureView("Rings")
    qtbot.addWidget(view)
    view.resize(600, 500)
    view.show()
    qtbot.waitExposed(view)
    return view


@pytest.fixture(params=[(500, 600), (500, 600, 3)], ids=["grey", "colour"])
def pixels(request: pytest.FixtureRequest) -> NDArray[np.uint8]:
    return np.full(request.param, GREY, np.uint8)


def seen(view: PictureView) -> NDArray[np.int64]:
    """What stands on the screen, as red, green, blue."""
    image = view.grab(QRect(2, 2, 596, 496)).toImage().convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    return rows[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).astype(np.int64)


def ringed(view: PictureView) -> tuple[float, float, float]:
    """Middle (x, y) and radius of what has the rings' hue, in screen pixels."""
    accent = np.array(QColor(DARK.accent).getRgb()[:3])
    ys, xs = np.nonzero(np.abs(seen(view) - accent).max(axis=2) < 12)
    if xs.size == 0:
        return float("nan"), float("nan"), 0.0
    x, y = (xs.min() + xs.max()) / 2 + 2, (ys.min() + ys.max()) / 2 + 2
    return float(x), float(y), float(xs.max() - xs.min()) / 2


def test_a_ring_has_its_place_and_size_and_nothing_is_left_of_the_one_before(
    view: PictureView, pixels: NDArray[np.uint8]
) -> None:
    fit = fit_in(pixels)  # 200 pixels for 125 µm
    ring = Ring("A", 100.0)  # solid, 160 pixels across
    for centre in ((200.0, 200.0), (380.0, 300.0)):
        view.show_picture(pixels, Overlay(replace(fit, centre_px=centre), (ring,)))
        x, y, radius = ringed(view)
        assert (x, y, radius) == pytest.approx((centre[0] + 0.5, centre[1] + 0.5, 80.0), abs=1.5)


def test_below_a_ring_the_picture_is_darkened_and_not_blackened(
    view: PictureView, pixels: NDArray[np.uint8]
) -> None:
    view.show_picture(pixels, Overlay(fit_in(pixels), (Ring("C", 100.0),)))
    colours = seen(view)
    neutral = colours[np.ptp(colours, axis=2) <= 2]
    between_dashes = GREY * (1 - 140 / 255)  # what shines through the dark line
    assert np.count_nonzero(np.abs(neutral[:, 0] - between_dashes) < 3) > 50
    assert neutral.min() > 20


def test_rings_that_lie_out_of_view_leave_no_trace(view: PictureView, pixels: NDArray[np.uint8]) -> None:
    overlay = Overlay(replace(fit_in(pixels), centre_px=(60.0, 60.0)), (Ring("A", 100.0),))
    view.show_picture(pixels, overlay)
    assert ringed(view)[2] > 0
    view.show_picture(pixels, Overlay(replace(overlay.fit, centre_px=(-900.0, -900.0)), overlay.rings))
    assert ringed(view)[2] == 0
    assert np.all(seen(view) == GREY)
