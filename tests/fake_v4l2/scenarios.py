"""What a client goes through with the fake camera; run as a program, with the library preloaded.

    python scenarios.py NAME CONTROL_FILE

Each scenario gets the control file's path, and fails by an assertion. They exercise this program's code
through the unmodified V4L2 backend of OpenCV; they don't prove that a given camera works.
"""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from run_with_fake import SIZES, set_state
from source_contract import assert_keeps_the_contract

from workstation.frames import (
    Camera,
    CameraMode,
    Feed,
    FeedEvent,
    FeedEventKind,
    SourceTrouble,
    TroubleKind,
    list_cameras,
    v4l2,
)


def camera(size: tuple[int, int] = (640, 480), fourcc: str = "MJPG") -> Camera:
    info = list_cameras()[0]
    mode = next(mode for mode in info.modes if mode.fourcc == fourcc and (mode.width, mode.height) == size)
    return Camera(info, mode)


class Watched:
    """A running feed, with what it told."""

    def __init__(self, source: Camera) -> None:
        self.feed = Feed(source)
        self.events: list[FeedEvent] = []

    def until(self, condition: Callable[[], object], limit_s: float = 12.0) -> float:
        began_s = time.monotonic()
        tick = threading.Event()
        while time.monotonic() - began_s < limit_s:
            self.events += self.feed.poll()
            if condition():
                return time.monotonic() - began_s
            tick.wait(0.01)
        raise AssertionError(f"didn't happen within {limit_s} s; told: {self.events}")

    def told(self) -> list[TroubleKind | FeedEventKind]:
        return [event.trouble or event.kind for event in self.events]


@contextmanager
def watched(source: Camera) -> Iterator[Watched]:
    watch = Watched(source)
    watch.feed.start()
    try:
        watch.until(lambda: watch.feed.delivering)
        yield watch
    finally:
        assert watch.feed.stop(limit_s=5.0)


def stays_away_and_comes_back(control: Path, watch: Watched, state: str, kind: TroubleKind) -> float:
    """Put the camera into a state until the feed says so, then back; return how long it took to say."""
    set_state(control, state)
    took_s = watch.until(lambda: watch.feed.trouble is not None)
    assert watch.feed.trouble is not None
    assert watch.feed.trouble.kind is kind, watch.feed.trouble
    frame = watch.feed.newest()
    assert frame is not None
    set_state(control, "ok")
    watch.until(lambda: watch.feed.delivering)
    newest = watch.feed.newest()
    assert newest is not None
    assert newest.sequence > frame.sequence
    assert watch.feed.trouble is None
    return took_s


def it_is_listed_by_name_with_sizes_and_rates(control: Path) -> None:
    (info,) = list_cameras()  # the second node, which has no pictures, isn't there
    assert info.name == "Fake microscope"
    assert info.address == "/dev/video0"
    assert info.trouble == ""
    uncompressed = {(mode.width, mode.height): mode.rates_hz for mode in info.modes if mode.fourcc == "YUYV"}
    assert uncompressed == dict.fromkeys(SIZES, (30.0, 15.0))
    assert [(m.width, m.height) for m in info.modes if m.fourcc == "MJPG"] == [(640, 480), (1280, 1024)]


def it_keeps_the_contract_in_both_formats(control: Path) -> None:
    for fourcc in ("MJPG", "YUYV"):
        assert_keeps_the_contract(lambda fourcc=fourcc: camera(fourcc=fourcc), moves=True)


def every_size_is_granted_and_read_back(control: Path) -> None:
    for size in SIZES:
        source = camera(size, "YUYV")
        source.open()
        assert source.granted == CameraMode("YUYV", *size, (30.0,))
        assert source.read().shape == (size[1], size[0], 3)
        assert source.news() == ()
        source.close()


def a_size_that_the_camera_does_not_have_is_told(control: Path) -> None:
    source = Camera(list_cameras()[0], CameraMode("YUYV", 1000, 700))
    source.open()
    assert source.granted is not None
    height, width = source.read().shape[:2]
    assert (width, height) == (source.granted.width, source.granted.height) != (1000, 700)
    (news,) = source.news()
    assert "1000 × 700" in news
    assert f"{width} × {height}" in news
    source.close()


def a_lower_rate_is_granted(control: Path) -> None:
    info = list_cameras()[0]
    source = Camera(info, info.modes[0], rate_hz=15.0)
    source.open()
    assert source.granted is not None
    assert source.granted.rates_hz == (15.0,)
    source.read()
    began_s = time.monotonic()
    for _ in range(6):
        source.read()
    assert 0.3 < time.monotonic() - began_s < 0.8
    source.close()


def frames_come_at_the_cameras_rate(control: Path) -> None:
    with watched(camera((1280, 1024))) as watch:
        burst = watch.feed.capture(45)
        watch.until(lambda: burst.complete)
        frames = burst.frames
        assert [frame.sequence for frame in frames] == list(
            range(frames[0].sequence, frames[0].sequence + 45)
        )
        rate_hz = 44 / (frames[-1].taken_s - frames[0].taken_s)
        assert 28 < rate_hz < 32, rate_hz


def frames_that_waited_in_the_driver_are_passed_over(control: Path) -> None:
    """The walking ramp of the uncompressed picture tells which frame it is: two pixels a frame."""
    source = camera((640, 480), "YUYV")
    source.open()
    source.adjust("exposure", 30.0)  # so bright that the ramp has a step for each frame

    def number() -> int:
        row = source.read()[0, :256, 0].astype(int)
        return int(np.argmin(np.diff(row, append=row[0])))  # where the ramp falls back to its start

    number()
    first = number()
    threading.Event().wait(0.5)  # a reader that is busy elsewhere for fifteen frames
    second = number()
    moved_px = (first - second) % 256
    assert moved_px >= 2 * 13, moved_px  # without passing over, it would be the next frame: two pixels
    source.close()


def knobs_have_limits_and_change_the_picture(control: Path) -> None:
    with watched(camera(fourcc="YUYV")) as watch:
        knobs = {knob.key: knob for knob in watch.feed.controls}
        assert set(knobs) == {"exposure", "gain", "focus"}
        exposure = knobs["exposure"]
        assert (exposure.minimum, exposure.maximum, exposure.unit, exposure.auto) == (0.1, 500.0, "ms", True)
        assert (knobs["focus"].step, knobs["focus"].auto) == (5.0, True)
        assert knobs["gain"].auto is None

        def brightness() -> float:
            burst = watch.feed.capture(1)
            watch.until(lambda: burst.complete)
            return float(burst.frames[0].pixels.mean())

        before = brightness()
        watch.feed.adjust("exposure", exposure.value * 2)
        watch.until(lambda: watch.feed.controls[0].auto is False)
        watch.until(lambda: brightness() > 1.6 * before)
        assert abs(watch.feed.controls[0].value - 2 * exposure.value) < 0.11
        watch.feed.adjust("focus", 52.0)
        watch.until(lambda: watch.feed.controls[2].value == 50.0)  # to the nearest step
        watch.feed.adjust("exposure", auto=True)
        watch.until(lambda: watch.feed.controls[0].auto is True)
        watch.feed.adjust("gain", 1e6)
        watch.until(lambda: watch.feed.controls[1].value == 100.0)
        watch.feed.adjust("zoom", 1.0)
        watch.until(lambda: FeedEventKind.REFUSED in [event.kind for event in watch.events])
        assert watch.feed.delivering


def unplugged_it_says_so_at_once_and_comes_back(control: Path) -> None:
    with watched(camera()) as watch:
        for _ in range(2):
            assert stays_away_and_comes_back(control, watch, "unplugged", TroubleKind.UNPLUGGED) < 1.0
        again = [TroubleKind.UNPLUGGED, FeedEventKind.RECOVERED]
        assert watch.told() == [FeedEventKind.CONNECTING, FeedEventKind.CONNECTED, *again, *again]


def stalled_it_says_so_within_three_seconds_and_comes_back(control: Path) -> None:
    with watched(camera()) as watch:
        assert stays_away_and_comes_back(control, watch, "stalled", TroubleKind.STALLED) < 3.0


def blocked_for_good_it_is_left_behind_and_replaced(control: Path) -> None:
    with watched(camera()) as watch:
        assert stays_away_and_comes_back(control, watch, "wedged", TroubleKind.STALLED) < 3.5


def one_frame_for_ever_is_noticed(control: Path) -> None:
    with watched(camera()) as watch:
        assert stays_away_and_comes_back(control, watch, "frozen", TroubleKind.STALLED) < 6.0


def pictures_spoilt_on_the_way_are_passed_over(control: Path) -> None:
    """The disc's ground is 150; OpenCV's own decoding fills what was cut off with 128."""
    with watched(camera()) as watch:
        set_state(control, "torn")
        burst = watch.feed.capture(30)
        watch.until(lambda: burst.complete)
        assert FeedEventKind.TROUBLE not in [event.kind for event in watch.events]
        assert all(abs(float(frame.pixels[-40:].mean()) - 150) < 3 for frame in burst.frames)
        pairs = pairwise(burst.frames)
        assert all(not np.array_equal(one.pixels, other.pixels) for one, other in pairs)


def a_cable_that_spoils_every_picture_is_told(control: Path) -> None:
    with watched(camera()) as watch:
        assert stays_away_and_comes_back(control, watch, "garbled", TroubleKind.UNREADABLE) < 2.0


def it_keeps_its_stable_name_when_it_comes_back(control: Path) -> None:
    by_id = control.parent / "by-id"
    by_id.mkdir()
    link = by_id / "usb-Fake_microscope_1234-video-index0"
    link.symlink_to("/dev/video0")
    v4l2._BY_ID = by_id
    (info,) = list_cameras()
    assert info.id == str(link)
    with watched(Camera(info)) as watch:
        stays_away_and_comes_back(control, watch, "unplugged", TroubleKind.UNPLUGGED)


def occupied_from_the_start_it_waits_and_then_connects(control: Path) -> None:
    comes_when_freed(control, "occupied", TroubleKind.OCCUPIED)


def without_permission_it_waits_and_then_connects(control: Path) -> None:
    comes_when_freed(control, "denied", TroubleKind.PERMISSION)


def comes_when_freed(control: Path, state: str, kind: TroubleKind) -> None:
    source = camera()
    set_state(control, state)
    threading.Event().wait(0.05)
    with pytest.raises(SourceTrouble) as caught:
        source.open()
    assert caught.value.kind is kind, caught.value.sentence
    watch = Watched(source)
    watch.feed.start()
    watch.until(lambda: kind in watch.told())
    assert not watch.feed.delivering
    set_state(control, "ok")
    watch.until(lambda: watch.feed.delivering)
    assert watch.told()[-1] is FeedEventKind.CONNECTED
    assert watch.feed.stop()


def a_second_opener_is_told_that_it_is_in_use(control: Path) -> None:
    with watched(camera()):
        second = camera()
        with pytest.raises(SourceTrouble) as caught:
            second.open()
        assert caught.value.kind is TroubleKind.OCCUPIED, caught.value.sentence


def a_camera_that_may_not_be_asked_is_listed_with_the_reason(control: Path) -> None:
    set_state(control, "denied")
    threading.Event().wait(0.05)
    cameras = list_cameras()
    assert cameras
    assert all("may not use" in info.trouble and info.modes == () for info in cameras)
    set_state(control, "unplugged")
    threading.Event().wait(0.05)
    assert list_cameras() == ()


SCENARIOS = [
    it_is_listed_by_name_with_sizes_and_rates,
    it_keeps_the_contract_in_both_formats,
    every_size_is_granted_and_read_back,
    a_size_that_the_camera_does_not_have_is_told,
    a_lower_rate_is_granted,
    frames_come_at_the_cameras_rate,
    frames_that_waited_in_the_driver_are_passed_over,
    knobs_have_limits_and_change_the_picture,
    unplugged_it_says_so_at_once_and_comes_back,
    stalled_it_says_so_within_three_seconds_and_comes_back,
    blocked_for_good_it_is_left_behind_and_replaced,
    one_frame_for_ever_is_noticed,
    pictures_spoilt_on_the_way_are_passed_over,
    a_cable_that_spoils_every_picture_is_told,
    it_keeps_its_stable_name_when_it_comes_back,
    occupied_from_the_start_it_waits_and_then_connects,
    without_permission_it_waits_and_then_connects,
    a_second_opener_is_told_that_it_is_in_use,
    a_camera_that_may_not_be_asked_is_listed_with_the_reason,
]

if __name__ == "__main__":
    name, where = sys.argv[1:]
    next(scenario for scenario in SCENARIOS if scenario.__name__ == name)(Path(where))
