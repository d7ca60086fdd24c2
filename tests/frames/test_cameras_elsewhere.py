"""Cameras on Windows and macOS, as far as that can be tried without either: naming, ids and sentences.

The system's list is a stand-in; no picture is read. It doesn't show that a camera works there.
"""

import sys
from dataclasses import dataclass
from types import ModuleType

import pytest

from workstation.frames import (
    Backend,
    Camera,
    CameraInfo,
    CameraMode,
    SourceTrouble,
    TroubleKind,
    best_mode,
    list_cameras,
)
from workstation.opencv_setup import cv2


@dataclass
class Listed:
    index: int
    name: str
    path: str


@pytest.fixture
def plugged_in(monkeypatch: pytest.MonkeyPatch) -> list[Listed]:
    """Return what the stand-in for the system's list tells; a test may change it."""
    cameras = [Listed(0, "USB scope", "path-a"), Listed(1, "USB scope", "path-b")]
    module = ModuleType("cv2_enumerate_cameras")
    vars(module)["enumerate_cameras"] = lambda backend: list(cameras)
    monkeypatch.setitem(sys.modules, "cv2_enumerate_cameras", module)
    monkeypatch.setattr(sys, "platform", "win32")
    return cameras


def test_windows_offers_each_camera_for_both_interfaces_and_numbers_equal_names(
    plugged_in: list[Listed],
) -> None:
    cameras = list_cameras()
    assert [camera.name for camera in cameras] == [
        "USB scope",
        "USB scope (2)",
        "USB scope (DirectShow)",
        "USB scope (DirectShow) (2)",
    ]
    assert [camera.backend for camera in cameras] == [Backend.MEDIA_FOUNDATION] * 2 + [
        Backend.DIRECT_SHOW
    ] * 2
    assert len({camera.id for camera in cameras}) == 4
    assert not any(camera.modes_known for camera in cameras)


def test_macos_offers_one_interface(plugged_in: list[Listed], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    assert {camera.backend for camera in list_cameras()} == {Backend.AVFOUNDATION}


class ShutCapture:
    """Stands in for a device that doesn't open, and remembers how it was asked."""

    asked: tuple[object, ...] = ()

    def __init__(self, *asked: object) -> None:
        ShutCapture.asked = asked

    def isOpened(self) -> bool:
        return False

    def release(self) -> None:
        """Nothing to let go of."""


def test_a_camera_is_found_again_under_another_number(
    plugged_in: list[Listed], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cv2, "VideoCapture", ShutCapture)
    source = Camera(list_cameras()[1])
    plugged_in[:] = [Listed(0, "Webcam", "path-c"), Listed(4, "USB scope", "path-b")]
    with pytest.raises(SourceTrouble) as caught:
        source.open()
    assert ShutCapture.asked == (4, cv2.CAP_MSMF)
    assert caught.value.kind is TroubleKind.OCCUPIED
    assert "privacy settings" in caught.value.sentence


def test_a_camera_that_is_gone_is_missing(plugged_in: list[Listed]) -> None:
    source = Camera(list_cameras()[1])
    del plugged_in[1]
    with pytest.raises(SourceTrouble) as caught:
        source.open()
    assert caught.value.kind is TroubleKind.MISSING


def test_the_first_mode_is_live_large_and_uncompressed_where_there_is_a_choice() -> None:
    slow = CameraMode("YUYV", 1920, 1080, (5.0,))
    packed = CameraMode("MJPG", 1920, 1080, (30.0,))
    plain = CameraMode("YUYV", 1280, 720, (30.0,))
    huge = CameraMode("MJPG", 2592, 1944, (30.0,))
    assert best_mode([slow, packed, plain, huge]) == packed
    assert best_mode([slow, CameraMode("YUYV", 1920, 1080, (30.0,)), packed]).fourcc == "YUYV"
    assert best_mode([slow, plain]) == plain
    assert best_mode([huge]) == huge
    assert best_mode([]) is None
    assert Camera(CameraInfo("id", "name", 0, Backend.V4L2, (slow, plain))).mode == plain
