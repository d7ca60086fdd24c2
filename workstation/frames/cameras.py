"""UVC cameras through OpenCV, listed by name."""

import sys
import time
from collections import Counter
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from workstation.frames.camera_info import COMMON_SIZES, Backend, CameraInfo, CameraMode, best_mode
from workstation.frames.motion_jpeg import MotionJpegDecoder
from workstation.frames.pace import REPEAT_S, RepeatWatch
from workstation.frames.source import Control, SourceTrouble, TroubleKind
from workstation.opencv_setup import cv2

if sys.platform == "linux":
    from workstation.frames import v4l2

# A read that failed this late ran into OpenCV's own limit of 2 s and did not end because the device is gone.
_WAITED_S = 1.5
# Cables and hubs spoil a picture now and then; only a row of them is trouble.
_MOST_BROKEN = 10
# The driver's queue holds about four; a few more for good measure.
_MOST_STALE = 8


def list_cameras() -> tuple[CameraInfo, ...]:
    """List the cameras that are plugged in, by name; may take a second, so not in a thread that draws.

    Returns
    -------
    tuple of CameraInfo
        Cameras that can't be asked are among them, with the reason. On Windows each camera is listed for
        Media Foundation and again for DirectShow, which opens some cameras that the former doesn't.
    """
    if sys.platform == "linux":
        cameras = v4l2.list_devices()
    else:
        cameras = _list_elsewhere()
    seen: Counter[str] = Counter()
    numbered = []
    for camera in cameras:
        seen[camera.name] += 1
        again = f" ({seen[camera.name]})" if seen[camera.name] > 1 else ""
        numbered.append(replace(camera, name=camera.name + again))
    return tuple(numbered)


def _list_elsewhere() -> tuple[CameraInfo, ...]:
    from cv2_enumerate_cameras import enumerate_cameras

    backends = (
        (Backend.AVFOUNDATION,)
        if sys.platform == "darwin"
        else (Backend.MEDIA_FOUNDATION, Backend.DIRECT_SHOW)
    )
    candidates = tuple(CameraMode("", width, height) for width, height in COMMON_SIZES)
    return tuple(
        CameraInfo(
            id=f"{backend.name} {found.path or found.name}",
            name=found.name + (" (DirectShow)" if backend is Backend.DIRECT_SHOW else ""),
            address=found.index,
            backend=backend,
            modes=candidates,
            modes_known=False,
        )
        for backend in backends
        for found in enumerate_cameras(backend.value)
    )


class Camera:
    """A UVC camera as a source of frames; see :class:`~workstation.frames.source.FrameSource`.

    Parameters
    ----------
    info
        The camera, from :func:`list_cameras`. It is looked up by its id at each opening, since its number may
        change when it is plugged in again.
    mode
        Format, size and rate to ask for; None takes :func:`~workstation.frames.camera_info.best_mode`.
    rate_hz
        Frames a second to ask for; None takes the mode's highest.
    """

    def __init__(
        self, info: CameraInfo, mode: CameraMode | None = None, *, rate_hz: float | None = None
    ) -> None:
        self.info = info
        self.mode = mode or best_mode(info.modes)
        self.granted: CameraMode | None = None
        self._rate_hz = rate_hz
        self._capture: cv2.VideoCapture | None = None
        self._address = info.address
        self._period_s = 1 / 30
        self._jpeg: MotionJpegDecoder | None = None
        # Kept when the camera is opened again: one that is still frozen must not seem well for three seconds.
        self._repeats = RepeatWatch()
        self._news: list[str] = []

    @property
    def name(self) -> str:
        """The camera's name."""
        return self.info.name

    def renewed(self) -> "Camera":
        """Return a new, closed source for the same camera."""
        return Camera(self.info, self.mode, rate_hz=self._rate_hz)

    def open(self) -> None:
        """Open the device and ask for format, size and rate, in this order; what it grants is read back.

        Raises
        ------
        SourceTrouble
            Missing, occupied, not permitted, or not willing.
        """
        self.close()
        self._address = self._where()
        capture = cv2.VideoCapture(self._address, self.info.backend.value)
        if not capture.isOpened():
            capture.release()
            raise self._why_closed()
        self._capture = capture
        self._ask_for_mode(capture)

    def read(self) -> NDArray[np.uint8]:
        """Wait for the next frame; older ones that the driver still held are passed over.

        Raises
        ------
        SourceTrouble
            Unplugged, stalled, or no picture that can be decoded.
        """
        capture = self._capture
        if capture is None:
            raise SourceTrouble(TroubleKind.MISSING, f"{self.name} isn't open. Open it first.")
        began_s = time.monotonic()
        broken = stale = 0
        while broken < _MOST_BROKEN:
            asked_s = time.monotonic()
            if not capture.grab():
                raise self._why_lost(time.monotonic() - began_s)
            if stale < _MOST_STALE and self._is_stale(capture, began_s, time.monotonic() - asked_s):
                stale += 1
                continue
            there, data = capture.retrieve()
            pixels = self._decoded(np.asarray(data, dtype=np.uint8)) if there else None
            if pixels is not None:
                return self._fresh(pixels)
            broken += 1
        raise SourceTrouble(
            TroubleKind.UNREADABLE,
            f"{self.name} sends pictures that can't be decoded. Try another cable or port, "
            "or a smaller size.",
        )

    def close(self) -> None:
        """Let go of the device."""
        capture, self._capture = self._capture, None
        if capture is not None:
            capture.release()

    def news(self) -> tuple[str, ...]:
        """Return what a person should know and hasn't been told yet."""
        news, self._news = tuple(self._news), []
        return news

    def controls(self) -> tuple[Control, ...]:
        """Return exposure, gain and focus where the device has them.

        Only Linux tells their limits; elsewhere there are none, and the camera's own automatic holds.
        """
        if sys.platform == "linux" and self._capture is not None:
            try:
                return v4l2.controls(str(self._address))
            except OSError as error:
                self._news.append(f"{self.name} doesn't tell its settings: {error.strerror or error}.")
        return ()

    def adjust(self, key: str, value: float | None = None, auto: bool | None = None) -> None:
        """Turn a knob, switch its automatic mode, or both; a value alone switches the automatic mode off.

        Raises
        ------
        SourceTrouble
            The device has no such knob or refused; pictures go on.
        """
        problem = "its settings can't be changed on this system"
        if sys.platform == "linux":
            try:
                v4l2.adjust(str(self._address), key, value, auto)
                return
            except OSError as error:
                problem = error.strerror or str(error)
        raise SourceTrouble(
            TroubleKind.UNREADABLE, f"{self.name} didn't change its {key}: {problem}. It stays as it was."
        )

    def _where(self) -> str | int:
        if sys.platform == "linux":
            path = v4l2.find(self.info.id, str(self._address))
            if path is None:
                raise SourceTrouble(
                    TroubleKind.MISSING,
                    f"{self.name} isn't plugged in. Plug it in; the picture comes by itself.",
                )
            return path
        found = next((camera for camera in _list_elsewhere() if camera.id == self.info.id), None)
        if found is None:
            raise SourceTrouble(
                TroubleKind.MISSING, f"{self.name} isn't plugged in. Plug it in; the picture comes by itself."
            )
        return found.address

    def _ask_for_mode(self, capture: cv2.VideoCapture) -> None:
        asked = self.mode
        if asked is not None:
            if asked.fourcc:
                capture.set(cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*asked.fourcc))
            capture.set(cv2.CAP_PROP_FRAME_WIDTH, asked.width)
            capture.set(cv2.CAP_PROP_FRAME_HEIGHT, asked.height)
            rate_hz = self._rate_hz or (asked.rates_hz[0] if asked.rates_hz else 0.0)
            if rate_hz:
                capture.set(cv2.CAP_PROP_FPS, rate_hz)
        self._ask_for_raw_jpeg(capture)
        rate_hz = float(capture.get(cv2.CAP_PROP_FPS))
        code = int(capture.get(cv2.CAP_PROP_FOURCC))
        self.granted = CameraMode(
            code.to_bytes(4, "little").decode("ascii", "replace") if code > 0 else "",
            int(capture.get(cv2.CAP_PROP_FRAME_WIDTH)),
            int(capture.get(cv2.CAP_PROP_FRAME_HEIGHT)),
            (rate_hz,) if rate_hz > 0 else (),
        )
        self._period_s = 1 / rate_hz if rate_hz > 0 else 1 / 30
        granted = self.granted
        if asked is not None and (granted.width, granted.height) != (asked.width, asked.height):
            self._news.append(
                f"{self.name} was asked for {asked.width} × {asked.height} pixels and gives "
                f"{granted.width} × {granted.height}."
            )

    def _ask_for_raw_jpeg(self, capture: cv2.VideoCapture) -> None:
        """Have the JPEG pictures handed over as they are, where the backend can; they are decoded here."""
        self._jpeg = None
        if self.info.backend is Backend.V4L2:
            code = int(capture.get(cv2.CAP_PROP_FOURCC))
            if code == cv2.VideoWriter.fourcc(*"MJPG") and capture.set(cv2.CAP_PROP_CONVERT_RGB, 0):
                self._jpeg = MotionJpegDecoder()

    def _decoded(self, data: NDArray[np.uint8]) -> NDArray[np.uint8] | None:
        return data if self._jpeg is None else self._jpeg.decode(data)

    def _is_stale(self, capture: cv2.VideoCapture, began_s: float, grab_took_s: float) -> bool:
        """Whether a grabbed frame lay in the driver's queue since before this read.

        Only a frame that was there at once can have lain in the queue, and only V4L2 stamps frames with the
        clock that Python's monotonic time also reads.
        """
        if self.info.backend is not Backend.V4L2 or grab_took_s > 0.25 * self._period_s:
            return False
        age_s = began_s - float(capture.get(cv2.CAP_PROP_POS_MSEC)) / 1e3
        return 1.5 * self._period_s < age_s < 60.0

    def _fresh(self, pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
        alike_s = self._repeats.seconds_alike(pixels, time.monotonic())
        if alike_s > REPEAT_S:
            raise SourceTrouble(
                TroubleKind.STALLED,
                f"{self.name} has sent the same picture for {REPEAT_S:.0f} s. Plug it in again; "
                "the picture comes back by itself.",
            )
        return pixels

    def _why_lost(self, waited_s: float) -> SourceTrouble:
        if waited_s >= _WAITED_S and (
            sys.platform != "linux" or v4l2.find(self.info.id, str(self._address)) is not None
        ):
            return SourceTrouble(
                TroubleKind.STALLED,
                f"{self.name} stopped sending pictures. Check its cable, or plug it in again; "
                "the picture comes back by itself.",
            )
        return SourceTrouble(
            TroubleKind.UNPLUGGED,
            f"{self.name} was unplugged. Plug it in again; the picture comes back by itself.",
        )

    def _why_closed(self) -> SourceTrouble:
        if sys.platform == "linux":
            return v4l2.why_closed(str(self._address), self.name)
        return SourceTrouble(
            TroubleKind.OCCUPIED,
            f"{self.name} can't be opened. Close other programs that use it, and allow this program to use "
            "the camera in the system's privacy settings.",
        )
