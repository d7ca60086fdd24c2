"""The live view under load: the real window on the fake camera, with what is asked of it.

    python -m tests.live_bench [--minutes 5] [--size 1280x1024] [--fps 30] [--offscreen] [--out FILE.json]

Linux only. Leave the machine alone meanwhile: other programs make frames late. Ends with 1 if something that is
asked isn't met. It exercises the window through the unmodified V4L2 backend of OpenCV, and doesn't prove that a
given camera works; the fake camera's own work runs, and counts, within the window's process.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import numpy as np

FAKE = Path(__file__).resolve().parents[1] / "fake_v4l2"
sys.path.insert(0, str(FAKE))

import run_with_fake  # noqa: E402

from tests.live_bench.display import SCREEN, needs_a_server, why_no_server  # noqa: E402
from tests.live_bench.figures import all_met, as_row, figures_of, table  # noqa: E402
from tests.live_bench.film import wandering_face  # noqa: E402
from workstation.bootstrap import virtual_display  # noqa: E402
from workstation.opencv_setup import cv2  # noqa: E402

_BEGIN_AND_END_S = 120.0


def watched(
    seconds: float, size: tuple[int, int], fps: int, *, offscreen: bool, picture: Path | None = None
) -> dict[str, Any]:
    """Run the window on the fake camera for so long, and return what was noted in it.

    Raises
    ------
    RuntimeError
        The window's process failed; its last words are in the message.
    """
    label = f"{size[0]}x{size[1]}"
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="live-bench-")))
        run_with_fake.write_film(folder, size, wandering_face(size))
        control, result = folder / "state", folder / "seen.json"
        run_with_fake.set_state(control, "ok")
        env = run_with_fake.environment(run_with_fake.build(folder), control, folder, fps)
        if offscreen:
            env["QT_QPA_PLATFORM"] = "offscreen"
        elif needs_a_server():
            env["DISPLAY"] = stack.enter_context(virtual_display(SCREEN))
            env["QT_QPA_PLATFORM"] = "xcb"
        command = [sys.executable, "-W", "error", "-m", "tests.live_bench.watched_window"]
        command += [str(folder), str(seconds), label, str(result)]
        command += [] if picture is None else ["--picture", str(picture)]
        done = subprocess.run(
            command, env=env, capture_output=True, text=True, timeout=seconds + _BEGIN_AND_END_S, check=False
        )
        if done.returncode or not result.exists():
            raise RuntimeError(f"The window ended with {done.returncode}.\n{done.stdout}{done.stderr}")
        return dict(json.loads(result.read_text(encoding="utf-8")))


def reference_ms(repeats: int = 60) -> float:
    """Return the processor time of a Gaussian blur (σ 3 pixels, one thread) of a 1280x1024 grey picture."""
    picture = np.random.default_rng(1).integers(0, 256, (1024, 1280), dtype=np.uint8)
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    spent = []
    for _ in range(repeats):
        began_s = time.thread_time()
        cv2.GaussianBlur(picture, (0, 0), 3.0)
        spent.append(time.thread_time() - began_s)
    cv2.setNumThreads(threads)
    return float(np.median(spent)) * 1e3


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark and print its table."""
    asked = _asked(arguments)
    width, height = map(int, asked.size.split("x"))
    before_ms = reference_ms()
    seen = watched(
        asked.minutes * 60,
        (width, height),
        asked.fps,
        offscreen=asked.offscreen,
        picture=asked.picture,
    )
    figures = figures_of(seen, asked.fps, (before_ms + reference_ms()) / 2)
    where = f"{seen['screen']}, live picture {seen['view'][0]}x{seen['view'][1]} on the screen"
    print(f"Live view with rings at {asked.size} and {asked.fps} frames a second; {where}; ", end="")
    print(f"{os.cpu_count()} cores")
    print("\n".join(table(figures)))
    if asked.out is not None:
        _write(asked.out, asked, seen, as_row(figures))
    return 0 if all_met(figures) else 1


def _asked(arguments: Sequence[str] | None) -> argparse.Namespace:
    assert __doc__ is not None
    parser = argparse.ArgumentParser(
        prog="python -m tests.live_bench",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    sizes = [f"{width}x{height}" for width, height in run_with_fake.SIZES]
    parser.add_argument("--minutes", type=float, default=5.0, help="how long to watch (default 5)")
    parser.add_argument("--size", default="1280x1024", choices=sizes)
    parser.add_argument("--fps", type=int, default=30, help="frames a second (default 30)")
    parser.add_argument("--offscreen", action="store_true", help="draw into memory, without an X server")
    parser.add_argument("--out", type=Path, metavar="FILE.json", help="write figures and every paint here")
    parser.add_argument("--picture", type=Path, metavar="FILE.png", help="write a picture of the window here")
    asked = parser.parse_args(arguments)
    if asked.minutes <= 0 or asked.fps <= 0:
        parser.error("minutes and frames a second must be more than 0")
    if run_with_fake.why_not():
        parser.error(run_with_fake.why_not())
    if not asked.offscreen and needs_a_server() and why_no_server():
        parser.error(why_no_server())
    return asked


def _write(
    path: Path, asked: argparse.Namespace, seen: Mapping[str, Any], figures: list[dict[str, Any]]
) -> None:
    row = {"size": asked.size, "fps": asked.fps, "minutes": asked.minutes, "figures": figures, "seen": seen}
    path.write_text(json.dumps(row, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(f"Written: {path}")


if __name__ == "__main__":
    raise SystemExit(main())
