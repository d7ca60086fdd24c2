"""A virtual X server for a machine without a screen."""

import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager

SCREEN = "1920x1200x24"


def needs_a_server() -> bool:
    """Whether there is no screen to draw on."""
    return not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def why_no_server() -> str:
    """Say why no virtual X server can be started; empty if one can."""
    if shutil.which("Xvfb"):
        return ""
    return "there is no screen and no virtual X server: install xvfb, or add --offscreen"


@contextmanager
def virtual_screen() -> Iterator[str]:
    """Run a virtual X server on a free number, and yield the number as DISPLAY has it.

    Raises
    ------
    RuntimeError
        The server ended before it was ready.
    """
    reading, writing = os.pipe()
    command = ["Xvfb", "-displayfd", str(writing), "-screen", "0", SCREEN, "-nolisten", "tcp"]
    server = subprocess.Popen(command, pass_fds=(writing,), stderr=subprocess.DEVNULL)
    os.close(writing)
    try:
        with os.fdopen(reading) as answer:
            number = answer.readline().strip()
        if not number:
            raise RuntimeError("The virtual X server ended before it was ready. Run Xvfb by hand to see why.")
        yield f":{number}"
    finally:
        server.terminate()
        server.wait(10)
