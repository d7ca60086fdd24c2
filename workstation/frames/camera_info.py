"""What is known of a camera before it is opened."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import Enum

from workstation.opencv_setup import cv2


class Backend(Enum):
    """The operating system's camera interface, under OpenCV's number for it."""

    V4L2 = cv2.CAP_V4L2
    MEDIA_FOUNDATION = cv2.CAP_MSMF
    DIRECT_SHOW = cv2.CAP_DSHOW
    AVFOUNDATION = cv2.CAP_AVFOUNDATION


@dataclass(frozen=True, slots=True)
class CameraMode:
    """A format, a size and the rates in it.

    Attributes
    ----------
    fourcc
        Four letters of the pixel format: ``MJPG`` is compressed with losses, ``YUYV`` and ``GREY`` are not;
        empty leaves it to the device.
    width, height
        In pixels.
    rates_hz
        Frames a second, highest first; empty where the device doesn't say.
    """

    fourcc: str
    width: int
    height: int
    rates_hz: tuple[float, ...] = ()

    @property
    def label(self) -> str:
        """The mode for a person to read, such as "1280 × 1024, 30 a second, YUYV"."""
        rate = f", {self.rates_hz[0]:.3g} a second" if self.rates_hz else ""
        return f"{self.width} × {self.height}{rate}" + (f", {self.fourcc}" if self.fourcc else "")


@dataclass(frozen=True, slots=True)
class CameraInfo:
    """A camera that is plugged in.

    Attributes
    ----------
    id
        Stays the same when the camera is unplugged, moved to another number, or the machine starts again;
        keep this in settings.
    name
        For a person to read; equal cameras are numbered.
    address
        Device path or index now, by which OpenCV opens it.
    backend
        The interface to open it with.
    modes
        What it offers, or, where the system can't say, what is worth trying.
    modes_known
        Whether the device itself listed the modes.
    trouble
        Why it can't be asked, in words; empty if it can.
    """

    id: str
    name: str
    address: str | int
    backend: Backend
    modes: tuple[CameraMode, ...] = ()
    modes_known: bool = True
    trouble: str = ""


# Sizes that microscopes and webcams commonly have: common practice, no source.
COMMON_SIZES = (
    (2592, 1944),
    (2048, 1536),
    (1920, 1080),
    (1600, 1200),
    (1280, 1024),
    (1280, 960),
    (1280, 720),
    (1024, 768),
    (800, 600),
    (640, 480),
)
_LIVE_HZ = 25.0
_ENOUGH_PX = 2_100_000


def best_mode(modes: Iterable[CameraMode]) -> CameraMode | None:
    """Choose the mode to begin with.

    Returns
    -------
    CameraMode or None
        The largest size up to 2.1 megapixels that comes at 25 frames a second or more, uncompressed where
        there is a choice; else the nearest to that. None if there are no modes.
    """
    return max(
        modes,
        key=lambda mode: (
            not mode.rates_hz or mode.rates_hz[0] >= _LIVE_HZ,
            mode.width * mode.height <= _ENOUGH_PX,
            mode.width * mode.height,
            mode.fourcc != "MJPG",
        ),
        default=None,
    )
