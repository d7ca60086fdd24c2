"""Whether there is a screen to draw on, and whether a virtual one can be had."""

import os
import shutil

SCREEN = "1920x1200x24"


def needs_a_server() -> bool:
    """Whether there is no screen to draw on."""
    return not (os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def why_no_server() -> str:
    """Say why no virtual X server can be started; empty if one can."""
    if shutil.which("Xvfb"):
        return ""
    return "there is no screen and no virtual X server: install xvfb, or add --offscreen"
