"""From the words by which a source is remembered to the source itself, and what is said about sources."""

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from workstation.frames import (
    PICTURE_ENDINGS,
    Backend,
    Camera,
    CameraInfo,
    CameraMode,
    Control,
    FrameSource,
    PictureFolder,
    SourceTrouble,
    Stream,
    TroubleKind,
    VideoFile,
    list_cameras,
)
from workstation.simulator.live import SimulatedMicroscope
from workstation.values import Fit, NoFit

SIMULATOR = "simulator"
TROUBLE_TITLES = {
    TroubleKind.MISSING: "No camera",
    TroubleKind.UNPLUGGED: "Unplugged",
    TroubleKind.OCCUPIED: "In use elsewhere",
    TroubleKind.STALLED: "No new pictures",
    TroubleKind.PERMISSION: "Not permitted",
    TroubleKind.UNREADABLE: "Pictures cannot be read",
    TroubleKind.ENDED: "The source has ended",
}


@dataclass(frozen=True, slots=True)
class Hand:
    """A button that a source lends: words, shortcut, explanation, and its deed (off the window's thread)."""

    words: str
    keys: str
    tip: str
    deed: Callable[[], None]


def make_source(spec: str, mode_label: str = "") -> FrameSource:
    """Make the source that is remembered by these words; may take a second, so not in a thread that draws.

    Parameters
    ----------
    spec
        ``simulator``, a camera's id, the path of a film, a picture or a folder of pictures, or an address.
    mode_label
        Size and rate of a camera, as its mode is labelled; empty or unknown takes the best.

    Returns
    -------
    FrameSource
        A camera that isn't plugged in is a source all the same: its picture comes when it is.

    Raises
    ------
    SourceTrouble
        There is no such source; the sentence says what to do.
    """
    if spec == SIMULATOR:
        return SimulatedMicroscope()
    if "://" in spec:
        return Stream(spec)
    path = Path(spec)
    for camera in list_cameras():
        if camera.id == spec or camera.address == spec or camera.name == spec:
            return Camera(camera, next((mode for mode in camera.modes if mode.label == mode_label), None))
    if path.is_dir() or (path.is_file() and path.suffix.lower() in PICTURE_ENDINGS):
        return PictureFolder(path)
    if path.is_file():
        return VideoFile(path)
    if path.is_absolute() and not spec.startswith("/dev/"):
        raise SourceTrouble(
            TroubleKind.MISSING,
            f"There is no file or folder {spec}. Choose another source (Ctrl+K), or plug its drive in and "
            "start the live picture again (Ctrl+L).",
        )
    return Camera(CameraInfo(spec, spec, spec, _backend(spec)))


def _backend(camera_id: str) -> Backend:
    for backend in Backend:
        if camera_id.startswith(f"{backend.name} "):
            return backend
    if sys.platform == "linux":
        return Backend.V4L2
    return Backend.AVFOUNDATION if sys.platform == "darwin" else Backend.MEDIA_FOUNDATION


def hands(source: FrameSource) -> tuple[Hand, ...]:
    """Return the buttons of a source that lends hands."""
    if isinstance(source, SimulatedMicroscope):
        return (
            Hand(
                "Next connector", "Ctrl+1", "Take the next connector from the drawer", source.insert_connector
            ),
            Hand("Dry clean", "Ctrl+2", "Wipe the face once with a dry cleaner", source.dry_clean),
            Hand("Wet clean", "Ctrl+3", "Clean the face wet, then dry", source.wet_clean),
            Hand("Take fibre out", "Ctrl+4", "Take the connector out of the scope", source.unplug_fibre),
        )
    if isinstance(source, PictureFolder):
        return (
            Hand("Picture before", "Ctrl+1", "Go back to the picture before", lambda: source.step(-1)),
            Hand("Next picture", "Ctrl+2", "Go to the next picture", lambda: source.step(1)),
        )
    return ()


def own_controls(source: FrameSource) -> tuple[Control, ...]:
    """Return the knobs of the simulated microscope, which isn't asked through the feed."""
    if not isinstance(source, SimulatedMicroscope):
        return ()
    (near, far), (dark, bright) = source.FOCUS_RANGE_UM, source.EXPOSURE_RANGE
    return (
        Control("focus", "Focus", source.focus_um, near, far, 0.1, "µm"),
        Control("exposure", "Light", source.exposure, dark, bright, 0.02, "×"),
    )


def turn_own(source: FrameSource, key: str, value: float) -> None:
    """Turn a knob of the simulated microscope; may wait for a picture, so not in a thread that draws."""
    if isinstance(source, SimulatedMicroscope):
        if key == "focus":
            source.focus_um = value
        elif key == "exposure":
            source.exposure = value


def live_words(found: Fit | NoFit | None) -> str:
    """Say what the live picture shows."""
    if isinstance(found, NoFit):
        return found.message
    if isinstance(found, Fit):
        return "Fibre found"
    return "Looking for the fibre …"


__all__ = [
    "SIMULATOR",
    "TROUBLE_TITLES",
    "CameraInfo",
    "CameraMode",
    "Hand",
    "hands",
    "list_cameras",
    "live_words",
    "make_source",
    "own_controls",
    "turn_own",
]
