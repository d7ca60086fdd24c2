"""Run a command with a camera that isn't there.

    python tests/fake_v4l2/run_with_fake.py [--size WxH] [--fps N] [--frames PATH …] -- COMMAND …

The command sees /dev/video0 through LD_PRELOAD (Linux only, needs a C compiler). The first word of the
control file, whose place is printed, is the camera's state, and may be changed at any time: ok, unplugged,
stalled, wedged, frozen, torn, garbled, occupied or denied (fake_v4l2.c says what
each means). It exercises client code and doesn't prove that a given camera works.
"""

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from workstation.frames import list_pictures, read_picture
from workstation.opencv_setup import cv2

SOURCE = Path(__file__).with_name("fake_v4l2.c")
SIZES = ((640, 480), (1280, 720), (1280, 1024), (1920, 1080), (2592, 1944))
STATES = ("ok", "unplugged", "stalled", "wedged", "frozen", "torn", "garbled", "occupied", "denied")


def why_not() -> str:
    """Say why the fake can't be built here; empty if it can."""
    if sys.platform != "linux":
        return "a camera can be faked on Linux only: it needs LD_PRELOAD"
    if not (shutil.which("gcc") or shutil.which("cc")):
        return "no C compiler to build the fake camera with: install gcc and libc6-dev"
    return ""


def build(folder: Path) -> Path:
    """Compile the library into a folder and return its path."""
    library = folder / "fake_v4l2.so"
    compiler = shutil.which("gcc") or shutil.which("cc") or "gcc"
    # poll() is declared to the compiler as only writing to its argument, and a stand-in for it must read it.
    flags = ["-shared", "-fPIC", "-O2", "-Wall", "-Wno-maybe-uninitialized"]
    subprocess.run([compiler, *flags, "-o", str(library), str(SOURCE)], check=True, timeout=120)
    return library


def environment(library: Path, control: Path, frames: Path | None = None, fps: int = 30) -> dict[str, str]:
    """Return the environment in which a command sees the camera."""
    root = str(SOURCE.parents[2])
    return {
        **os.environ,
        "LD_PRELOAD": str(library),
        "FAKE_V4L2_CONTROL": str(control),
        "FAKE_V4L2_FRAMES": str(frames or ""),
        "FAKE_V4L2_FPS": str(fps),
        "PYTHONPATH": os.pathsep.join(filter(None, (root, os.environ.get("PYTHONPATH", "")))),
    }


def set_state(control: Path, state: str) -> None:
    """Put the camera into a state; the file is replaced whole, so that nobody reads half a word."""
    if state not in STATES:
        raise ValueError(f"no such state: {state}")
    fresh = control.with_suffix(".new")
    fresh.write_text(state + "\n")
    fresh.replace(control)


def write_film(folder: Path, size: tuple[int, int], pictures: Iterable[NDArray[np.uint8]]) -> Path:
    """Write pictures as the JPEG film that the fake plays at a size."""
    path = folder / f"{size[0]}x{size[1]}.mjpg"
    with path.open("wb") as film:
        for picture in pictures:
            if picture.shape[1::-1] != size:
                raise SystemExit(f"A picture has the size {picture.shape[1::-1]}, asked for is {size}.")
            film.write(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])[1].tobytes())
    return path


def moving_disc(size: tuple[int, int], count: int = 24) -> Iterable[NDArray[np.uint8]]:
    """Draw a disc that walks round a small circle over a grey ground, with noise."""
    width, height = size
    rng = np.random.default_rng(1)
    for n in range(count):
        angle = 2 * np.pi * n / count
        picture = np.full((height, width, 3), 150, np.uint8)
        centre = (int(width / 2 + 20 * np.cos(angle)), int(height / 2 + 20 * np.sin(angle)))
        cv2.circle(picture, centre, height // 4, (95, 95, 95), -1, cv2.LINE_AA)
        noise = rng.normal(0, 2, (height, width, 1)).astype(np.int8)
        yield np.clip(picture.astype(np.int16) + noise, 0, 255).astype(np.uint8)


def given(paths: Iterable[str]) -> Iterable[NDArray[np.uint8]]:
    """Read pictures; a single one is repeated with fresh noise, since a camera's frames are never equal."""
    pictures = list_pictures(paths)
    rng = np.random.default_rng(1)
    for path in pictures:
        picture = read_picture(path)
        for _ in range(1 if len(pictures) > 1 else 16):
            noise = rng.normal(0, 1.5, picture.shape) if len(pictures) == 1 else 0
            yield np.clip(picture + noise, 0, 255).astype(np.uint8)


def _main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--size", default="1280x1024", choices=[f"{w}x{h}" for w, h in SIZES])
    parser.add_argument("--fps", type=int, default=30)
    parser.add_argument("--frames", nargs="+", metavar="PATH", help="pictures or folders, of the size given")
    parser.add_argument("command", nargs=argparse.REMAINDER, metavar="-- COMMAND")
    options = parser.parse_args()
    command = options.command[1:] if options.command[:1] == ["--"] else options.command
    if not command:
        parser.error("no command: put it after --")
    if why_not():
        parser.error(why_not())
    width, height = map(int, options.size.split("x"))
    with tempfile.TemporaryDirectory(prefix="fake-camera-") as name:
        folder = Path(name)
        film = given(options.frames) if options.frames else moving_disc((width, height))
        write_film(folder, (width, height), film)
        control = folder / "state"
        set_state(control, "ok")
        print(f"The camera's state is in {control}: {', '.join(STATES)}", file=sys.stderr, flush=True)
        return subprocess.run(
            command, env=environment(build(folder), control, folder, options.fps), check=False
        ).returncode


if __name__ == "__main__":
    raise SystemExit(_main())
