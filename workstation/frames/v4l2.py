"""Cameras on Linux: who is there, what they offer, their knobs, and why one doesn't open (Video4Linux2).

Only what OpenCV can't tell; the pictures themselves come through OpenCV. Import on Linux only.
"""

import errno
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from linuxpy.video import device as v4l2

from workstation.frames.camera_info import COMMON_SIZES, Backend, CameraInfo, CameraMode
from workstation.frames.source import Control, SourceTrouble, TroubleKind

_BY_ID = Path("/dev/v4l/by-id")
# What OpenCV's backend turns into grey or colour; a stream of video packets such as H264 is not among it.
_FORMATS = ("YUYV", "UYVY", "GREY", "NV12", "YU12", "BGR3", "RGB3", "MJPG")
_CAPTURE = v4l2.BufferType.VIDEO_CAPTURE
_ID = v4l2.ControlID
_MANUAL, _APERTURE_PRIORITY, _FULLY_AUTOMATIC = 1, 3, 0
# key: (label, value, automatic switch, what one step is worth, unit). The kernel's Camera Control Reference
# gives V4L2_CID_EXPOSURE_ABSOLUTE in units of 100 µs; gain and focus are in the device's own steps.
_KNOBS = {
    "exposure": ("Exposure", _ID.EXPOSURE_ABSOLUTE, _ID.EXPOSURE_AUTO, 0.1, "ms"),
    "gain": ("Gain", _ID.GAIN, _ID.AUTOGAIN, 1.0, ""),
    "focus": ("Focus", _ID.FOCUS_ABSOLUTE, _ID.FOCUS_AUTO, 1.0, ""),
}


def list_devices() -> tuple[CameraInfo, ...]:
    """List the devices that deliver pictures; a camera's second node without pictures is left out."""
    found = []
    for path in _nodes():
        try:
            info = _ask(path)
        except OSError as error:
            if _sysfs(path, "index") not in ("0", None):
                continue
            name = _sysfs(path, "name") or path.name
            trouble = _trouble(error, name).sentence
            info = CameraInfo(str(path), name, str(path), Backend.V4L2, trouble=trouble)
        if info is not None:
            found.append(info)
    return tuple(found)


def find(camera_id: str, last_path: str) -> str | None:
    """Return the device path that a camera has now, or None if it isn't plugged in.

    A device at the last path that can't be asked who it is, for want of permission say, is taken for the
    camera, so that opening it tells why.
    """
    link = Path(camera_id)
    if link.is_absolute():
        path = link.resolve()
        return str(path) if path.exists() else None
    devices = list_devices()
    for info in devices:
        if info.id == camera_id:
            return str(info.address)
    return next((last_path for info in devices if info.trouble and info.address == last_path), None)


def why_closed(path: str, name: str) -> SourceTrouble:
    """Find out why OpenCV couldn't open a device that seems to be there."""
    try:
        with _opened(path) as node:
            # Setting the format that it has already changes nothing, and fails while another program streams.
            v4l2.set_raw_format(node, v4l2.get_raw_format(node, _CAPTURE))
    except OSError as error:
        return _trouble(error, name)
    return SourceTrouble(
        TroubleKind.UNREADABLE,
        f"{name} answers but can't be opened. Choose another size or format, or plug it in again.",
    )


def controls(path: str) -> tuple[Control, ...]:
    """Return the exposure, gain and focus knobs that a device has, with their present values.

    Raises
    ------
    OSError
        The device is gone.
    """
    with _opened(path) as node:
        known = {info.id: info for info in v4l2.iter_read_controls(node)}
        knobs = []
        for key, (label, value_id, auto_id, unit_size, unit) in _KNOBS.items():
            info = known.get(value_id)
            if info is None or info.maximum <= info.minimum:
                continue
            auto: bool | None = None
            if auto_id in known:
                auto = _is_automatic(auto_id, v4l2.get_control(node, auto_id))
            knobs.append(
                Control(
                    key,
                    label,
                    v4l2.get_control(node, value_id) * unit_size,
                    info.minimum * unit_size,
                    info.maximum * unit_size,
                    max(1, info.step) * unit_size,
                    unit,
                    auto,
                )
            )
    return tuple(knobs)


def adjust(path: str, key: str, value: float | None, auto: bool | None) -> None:
    """Turn a knob; giving a value alone switches the automatic mode off.

    Raises
    ------
    OSError
        The device has no such knob, or refused.
    """
    if key not in _KNOBS:
        raise OSError(errno.EINVAL, f"no knob is called {key}")
    _, value_id, auto_id, unit_size, _ = _KNOBS[key]
    with _opened(path) as node:
        known = {info.id: info for info in v4l2.iter_read_controls(node)}
        if auto is None and value is not None:
            auto = False
        if auto is not None and auto_id in known:
            _switch(node, auto_id, auto)
        if value is not None and not auto:
            if value_id not in known:
                raise OSError(errno.EINVAL, f"it has no knob for {key}")
            info = known[value_id]
            step = max(1, info.step)
            steps = round((value / unit_size - info.minimum) / step)
            wanted = min(max(info.minimum + steps * step, info.minimum), info.maximum)
            v4l2.set_control(node, value_id, wanted)


def _is_automatic(auto_id: int, value: int) -> bool:
    return value != _MANUAL if auto_id == _ID.EXPOSURE_AUTO else bool(value)


def _switch(node: v4l2.Device, auto_id: int, auto: bool) -> None:
    if auto_id != _ID.EXPOSURE_AUTO:
        v4l2.set_control(node, auto_id, int(auto))
        return
    if not auto:
        v4l2.set_control(node, auto_id, _MANUAL)
        return
    try:
        # The only automatic mode of most USB cameras: the iris is fixed, the time follows the light.
        v4l2.set_control(node, auto_id, _APERTURE_PRIORITY)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ERANGE):
            raise
        v4l2.set_control(node, auto_id, _FULLY_AUTOMATIC)


@contextmanager
def _opened(path: str | Path) -> Iterator[v4l2.Device]:
    with v4l2.Device(str(path)) as node:
        yield node


def _nodes() -> list[Path]:
    nodes = [path for path in Path("/dev").glob("video*") if re.fullmatch(r"video\d+", path.name)]
    return sorted(nodes, key=lambda path: int(path.name.removeprefix("video")))


def _ask(path: Path) -> CameraInfo | None:
    with _opened(path) as node:
        info = node.info
        if v4l2.Capability.VIDEO_CAPTURE not in info.device_capabilities:
            return None
        modes = tuple(_modes(node))
        if not modes:
            return None
        return CameraInfo(
            _stable_id(path) or f"{info.bus_info} {info.card}", info.card, str(path), Backend.V4L2, modes
        )


def _stable_id(path: Path) -> str | None:
    if not _BY_ID.is_dir():
        return None
    links = sorted(link for link in _BY_ID.iterdir() if link.resolve() == path)
    return str(links[0]) if links else None


def _sysfs(path: Path, what: str) -> str | None:
    """Return what the kernel says of a node without opening it, or None where it says nothing."""
    try:
        return (Path("/sys/class/video4linux") / path.name / what).read_text("utf-8", "replace").strip()
    except OSError:
        return None


def _modes(node: v4l2.Device) -> Iterator[CameraMode]:
    for offered in v4l2.iter_read_formats(node, _CAPTURE):
        fourcc = int(offered.pixel_format).to_bytes(4, "little").decode("ascii", "replace")
        if fourcc not in _FORMATS:
            continue
        for width, height in _sizes(node, offered.pixel_format):
            rates = {
                float(interval.max_fps)
                for interval in v4l2.iter_read_frame_intervals(node, offered.pixel_format, width, height)
                if interval.max_fps
            }
            yield CameraMode(fourcc, width, height, tuple(sorted(rates, reverse=True)))


def _sizes(node: v4l2.Device, pixel_format: v4l2.PixelFormat) -> Iterator[tuple[int, int]]:
    for size in v4l2.iter_read_frame_sizes(node, pixel_format):
        bounds = size.info
        if size.type == v4l2.FrameSizeType.DISCRETE:
            yield bounds.width, bounds.height
            continue
        for width, height in COMMON_SIZES:
            if (
                bounds.min_width <= width <= bounds.max_width
                and bounds.min_height <= height <= bounds.max_height
            ):
                yield width, height


def _trouble(error: OSError, name: str) -> SourceTrouble:
    if error.errno == errno.EBUSY:
        return SourceTrouble(
            TroubleKind.OCCUPIED,
            f"{name} is in use by another program. Close that program; the picture comes by itself.",
        )
    if error.errno in (errno.EACCES, errno.EPERM):
        return SourceTrouble(
            TroubleKind.PERMISSION,
            f"You may not use {name}. Ask for membership of the group that owns it, often 'video' "
            "(sudo usermod -aG video YOUR-NAME), then log in again.",
        )
    if error.errno in (errno.ENOENT, errno.ENODEV, errno.ENXIO):
        return SourceTrouble(
            TroubleKind.MISSING, f"{name} isn't plugged in. Plug it in; the picture comes by itself."
        )
    return SourceTrouble(
        TroubleKind.UNREADABLE,
        f"{name} can't be opened: {error.strerror or error}. Plug it in again, or try another port.",
    )
