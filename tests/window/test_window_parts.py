"""The window's parts, each by itself."""

import itertools
import json
import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from conftest import LONG_MS
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PySide6.QtCore import QPoint, QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QWheelEvent
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from window_stand_ins import MovableSource, feature, fit_in

from workstation.frames import FeedEventKind
from workstation.values import Fit, NoFit, Outcome
from workstation.window.jobs import Jobs
from workstation.window.live import Live
from workstation.window.overlay import Mark, Overlay, Ring
from workstation.window.picture_view import PictureView, image_over
from workstation.window.settings import Settings, load_settings, save_settings
from workstation.window.shapes import paint_outcome
from workstation.window.theme import DARK, dress
from workstation.window.words import next_port_label

pytestmark = pytest.mark.window

# -- words and settings -------------------------------------------------------------------------------------


@given(
    st.text(alphabet="ABC-/ ", max_size=8),
    st.integers(0, 9998),
    st.integers(1, 6),
    st.sampled_from(["", "-A"]),
)
def test_the_next_port_counts_up_and_keeps_its_width(head: str, number: int, width: int, tail: str) -> None:
    assert next_port_label(f"{head}{number:0{width}d}{tail}") == f"{head}{number + 1:0{width}d}{tail}"


def test_settings_come_back_with_keys_that_nobody_knows(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "window.json"
    save_settings(Settings.model_validate({"operator": "Å. Example", "from_a_later_version": [1, 2]}), path)
    settings, complaints = load_settings(path)
    assert complaints == []
    assert settings.operator == "Å. Example"
    save_settings(settings, path)
    assert json.loads(path.read_text(encoding="utf-8"))["from_a_later_version"] == [1, 2]


def test_a_bad_setting_is_named_and_the_others_hold(tmp_path: Path) -> None:
    path = tmp_path / "window.json"
    path.write_text('{"smooth": "perhaps", "operator": "R. Example"}', encoding="utf-8")
    settings, (complaint,) = load_settings(path)
    assert (settings.smooth, settings.operator) == (True, "R. Example")
    assert "'smooth'" in complaint
    assert "'perhaps'" in complaint


@pytest.mark.parametrize("text", ["{", "[1]", "\udcff".encode("utf-8", "surrogateescape").decode("latin-1")])
def test_settings_that_cannot_be_read_are_said_so(tmp_path: Path, text: str) -> None:
    path = tmp_path / "window.json"
    path.write_bytes(text.encode("latin-1"))
    settings, complaints = load_settings(path)
    assert settings == Settings()
    assert str(path) in complaints[0]


# -- pictures -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [300, 301, 302, 303])
@pytest.mark.parametrize("colour", [False, True])
def test_every_pixel_of_any_width_reaches_the_screen(width: int, colour: bool) -> None:
    rng = np.random.default_rng(width)
    pixels = rng.integers(0, 255, (7, width, 3) if colour else (7, width), dtype=np.uint8)
    image = image_over(pixels)
    for x, y in ((0, 0), (width - 1, 0), (width // 2, 3), (0, 6), (width - 1, 6)):
        shown = QColor(image.pixel(x, y))
        blue, green, red = pixels[y, x] if colour else (pixels[y, x],) * 3
        assert (shown.red(), shown.green(), shown.blue()) == (red, green, blue)


def test_a_part_of_a_larger_picture_is_shown_right() -> None:
    whole = np.arange(200, dtype=np.uint8).reshape(10, 20)
    assert QColor(image_over(whole[2:8, 3:9]).pixel(4, 5)).red() == whole[7, 7]


def test_pixels_of_another_kind_are_refused() -> None:
    with pytest.raises(ValueError, match="uint16"):
        image_over(np.zeros((4, 4), np.uint16))  # type: ignore[arg-type]


@pytest.fixture
def view(qapp: QApplication, qtbot: QtBot) -> PictureView:
    dress(qapp)
    view = PictureView("A picture")
    qtbot.addWidget(view)
    view.resize(800, 640)
    view.show()
    qtbot.waitExposed(view)
    view.smooth = False
    return view


def shown_colour(view: PictureView, spot: QPoint) -> tuple[int, int, int]:
    colour = QColor(view.grab().toImage().pixel(spot))
    return colour.red(), colour.green(), colour.blue()


def turn_wheel(view: PictureView, spot: QPointF, turns: int) -> None:
    event = QWheelEvent(
        spot, view.mapToGlobal(spot), QPoint(), QPoint(0, 120 * turns), Qt.MouseButton.NoButton,
        Qt.KeyboardModifier.NoModifier, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(view, event)


def test_the_wheel_keeps_what_lies_under_the_cursor_in_its_place(view: PictureView) -> None:
    rng = np.random.default_rng(2)
    pixels = np.kron(rng.integers(0, 255, (64, 80), dtype=np.uint8), np.ones((16, 16), np.uint8))
    view.show_picture(pixels)
    spot = QPoint(301, 207)
    before = shown_colour(view, spot)
    for _ in range(7):
        turn_wheel(view, QPointF(spot), 1)
        assert shown_colour(view, spot) == before
    assert view.zoom > 2
    for _ in range(20):
        turn_wheel(view, QPointF(spot), -1)
    assert view.zoom == pytest.approx(640 / 1024)


def test_one_pixel_to_one_and_back_to_the_whole(view: PictureView) -> None:
    view.show_picture(np.zeros((1024, 1280), np.uint8))
    view.one_to_one()
    assert view.zoom * view.devicePixelRatioF() == pytest.approx(1.0)
    view.fit_to_window()
    assert view.zoom == pytest.approx(0.625)


def test_a_magnified_picture_moves_with_the_hand_and_never_leaves_a_gap(
    view: PictureView, qtbot: QtBot
) -> None:
    pixels = np.full((1024, 1280), 200, np.uint8)
    pixels[:, :640] = 60
    view.show_picture(pixels)
    view.one_to_one()
    assert shown_colour(view, QPoint(500, 300))[0] == 200
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=QPoint(100, 300))
    qtbot.mouseMove(view, QPoint(700, 300))
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=QPoint(700, 300))
    assert shown_colour(view, QPoint(500, 300))[0] == 60
    assert shown_colour(view, QPoint(1, 1))[0] == 60


def overlay(*, breaks: bool, ring_um: float = 125.0) -> Overlay:
    speck = feature(7, 0.0, 0.0, 60.0)
    fit = fit_in(np.zeros((640, 800), np.uint8))
    return Overlay(fit, (Ring("A", ring_um),), (Mark(7, speck.outline_um, breaks),))


def inked(view: PictureView) -> NDArray[np.uint8]:
    image = view.grab().toImage().convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    return rows[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).copy()


def test_rings_lie_where_the_fit_has_them(view: PictureView) -> None:
    view.features_shown = False
    view.show_picture(np.zeros((640, 800), np.uint8), overlay(breaks=False))
    drawn = inked(view).max(axis=2) > 120
    ys, xs = np.nonzero(drawn[:, : 400 - 60])  # left of the letter
    radius = np.hypot(xs - 400.0, ys - 320.0)  # the middle of the picture lies on a corner of four pixels
    assert np.abs(radius - 0.2 * 640).max() < 3.0
    assert abs(float(np.median(radius)) - 0.2 * 640) < 1.0


def test_a_feature_that_breaks_a_rule_has_more_ink_than_an_allowed_one(view: PictureView) -> None:
    view.rings_shown = False
    ink = []
    for breaks in (False, True):
        view.show_picture(np.zeros((640, 800), np.uint8), overlay(breaks=breaks))
        ink.append(int((inked(view)[260:380, 340:460].max(axis=2) > 60).sum()))
    assert ink[1] > 2 * ink[0]


def test_rings_and_features_can_be_taken_away(view: PictureView) -> None:
    view.rings_shown = view.features_shown = False
    view.show_picture(np.zeros((640, 800), np.uint8), overlay(breaks=True))
    assert inked(view)[5:-5, 5:-5].max() < 60


def test_a_click_picks_the_feature_under_it(view: PictureView, qtbot: QtBot) -> None:
    picked: list[int] = []
    view.feature_picked.connect(picked.append)
    view.show_picture(np.zeros((640, 800), np.uint8), overlay(breaks=True))
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(400, 320))
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(20, 20))
    assert picked == [7, 0]


def test_each_outcome_has_a_shape_of_its_own_without_colour(qapp: QApplication) -> None:
    drawn = []
    for outcome in (*Outcome, None):
        image = QImage(64, 64, QImage.Format.Format_Grayscale8)
        image.fill(0)
        painter = QPainter(image)
        paint_outcome(painter, outcome, QRectF(0, 0, 64, 64), QColor("white"), QColor("black"))
        painter.end()
        drawn.append(np.frombuffer(image.constBits(), np.uint8).astype(int).copy())
    for one, other in itertools.combinations(drawn, 2):
        assert np.mean(np.abs(one - other) > 100) > 0.08


def luminance(colour: str) -> float:
    # W3C, Web Content Accessibility Guidelines 2.1, definition of relative luminance
    parts = [value / 255 for value in QColor(colour).getRgb()[:3]]
    red, green, blue = (
        part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@pytest.mark.parametrize(
    ("ink", "paper", "least"),
    [
        ("text", "ground", 7.0),
        ("text", "raised", 7.0),
        ("quiet", "ground", 4.5),
        ("quiet", "picture", 4.5),
        ("accent", "ground", 4.5),
        ("on_accent", "accent", 4.5),
        ("faint", "raised", 3.0),
    ],
)
def test_words_stand_out_from_their_ground(ink: str, paper: str, least: float) -> None:
    # W3C, WCAG 2.1, success criteria 1.4.3 and 1.4.6: contrast of at least 4.5 and 7 to 1
    high, low = sorted((luminance(getattr(DARK, ink)), luminance(getattr(DARK, paper))), reverse=True)
    assert (high + 0.05) / (low + 0.05) >= least


# -- workers ------------------------------------------------------------------------------------------------


def test_a_job_brings_its_result_or_its_error_back_to_the_asking_thread(qtbot: QtBot) -> None:
    jobs = Jobs("test")
    here = threading.get_ident()
    came: list[object] = []
    jobs.start(
        threading.get_ident,
        lambda there: came.append((there != here, threading.get_ident() == here)),
        came.append,
    )
    jobs.start(lambda: 1 / 0, came.append, lambda trouble: came.append(type(trouble)))
    qtbot.waitUntil(lambda: len(came) == 2, timeout=LONG_MS)
    assert came == [(True, True), ZeroDivisionError]
    assert not jobs.busy
    jobs.close()


def test_nothing_is_delivered_after_closing(qtbot: QtBot) -> None:
    jobs = Jobs("test")
    came: list[object] = []
    gate = threading.Event()
    jobs.start(lambda: gate.wait(20), came.append, came.append)
    jobs.start(lambda: 2, came.append, came.append)
    gate.set()
    jobs.close()
    assert came == []
    assert not jobs.busy


def test_a_slow_fit_holds_the_picture_back_no_longer_than_a_moment(qtbot: QtBot) -> None:
    gate = threading.Event()

    def slow(pixels: NDArray[np.uint8], _previous: Fit | NoFit | None) -> Fit | NoFit:
        gate.wait(20)
        return fit_in(pixels)

    live = Live(slow)
    shown: list[tuple[int, object]] = []
    live.shown.connect(lambda frame, found: shown.append((frame.sequence, found)))
    live.open(MovableSource())
    qtbot.waitUntil(lambda: len(shown) >= 3, timeout=LONG_MS)
    assert all(found is None for _number, found in shown)
    gate.set()
    qtbot.waitUntil(lambda: isinstance(shown[-1][1], Fit), timeout=LONG_MS)
    numbers = [number for number, _found in shown]
    assert numbers == sorted(numbers), "pictures never go back in time"
    live.close()


def test_picture_and_rings_belong_to_the_same_frame(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """The fit is made to tell which frame it was made of."""
    monkeypatch.setattr("workstation.window.live.HELD_BACK_S", 20.0)  # however busy the machine is
    source = MovableSource()
    count = itertools.count()
    read = source.read

    def numbered() -> NDArray[np.uint8]:
        pixels = read()
        pixels[0, 0] = next(count) % 250
        return pixels

    source.read = numbered  # type: ignore[method-assign]

    def fit(pixels: NDArray[np.uint8], _previous: Fit | NoFit | None) -> Fit | NoFit:
        found = fit_in(pixels)
        return replace(found, centre_px=(float(pixels[0, 0]), 0.0))

    live = Live(fit)
    pairs: list[tuple[float, float]] = []
    live.shown.connect(lambda frame, found: pairs.append((float(frame.pixels[0, 0]), found.centre_px[0])))
    live.open(source)
    qtbot.waitUntil(lambda: len(pairs) >= 20, timeout=LONG_MS)
    live.close()
    assert all(of_picture == of_fit for of_picture, of_fit in pairs)


def test_a_fit_that_ends_after_the_source_was_lost_is_not_shown(qtbot: QtBot) -> None:
    gate, begun = threading.Event(), threading.Event()

    def slow(pixels: NDArray[np.uint8], _previous: Fit | NoFit | None) -> Fit | NoFit:
        begun.set()
        gate.wait(20)
        return fit_in(pixels)

    source = MovableSource()
    live = Live(slow)
    shown: list[object] = []
    told: list[FeedEventKind] = []
    live.shown.connect(lambda _frame, found: shown.append(found))
    live.told.connect(lambda event: told.append(event.kind))
    live.open(source)
    qtbot.waitUntil(begun.is_set, timeout=LONG_MS)
    source.pulled.set()
    qtbot.waitUntil(lambda: FeedEventKind.TROUBLE in told, timeout=LONG_MS)
    before = len(shown)
    gate.set()
    qtbot.waitUntil(lambda: not live.busy, timeout=LONG_MS)
    assert len(shown) == before
    live.close()


def test_a_fit_that_goes_wrong_is_told_once_and_the_picture_goes_on(qtbot: QtBot) -> None:
    def broken(_pixels: NDArray[np.uint8], _previous: Fit | NoFit | None) -> Fit | NoFit:
        raise RuntimeError("no such thing")

    live = Live(broken)
    told: list[str] = []
    shown: list[object] = []
    live.faulted.connect(told.append)
    live.shown.connect(lambda frame, found: shown.append(found))
    live.open(MovableSource())
    qtbot.waitUntil(lambda: len(shown) >= 5, timeout=LONG_MS)
    live.close()
    assert len(told) == 1
    assert "no such thing" in told[0]


def test_a_capture_from_a_source_that_sends_nothing_is_missed_in_words(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("workstation.window.live.CAPTURE_LIMIT_S", 0.2)
    source = MovableSource()
    source.pulled.set()
    live = Live(lambda pixels, _previous: fit_in(pixels))
    missed: list[str] = []
    live.missed.connect(missed.append)
    live.open(source)
    live.capture()
    qtbot.waitUntil(lambda: len(missed) == 1, timeout=LONG_MS)
    assert "A camera with a cable" in missed[0]
    live.close()
