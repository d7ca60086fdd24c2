"""What the operating system must hold beside Python, and how to get it on Debian and its kin.

The list was measured by installing into an empty Debian 12. Only the standard library is used: the start-up
script runs this before any dependency is there. On Windows and macOS the wheels bring all that is needed.
"""

from __future__ import annotations  # see bootstrap

import ctypes
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


class SetupError(Exception):
    """The set-up can't go on; the message says what happened and what to do."""


@dataclass(frozen=True)
class Need:
    """One thing the system must hold: its name, its Debian package, and whether it is there."""

    name: str
    package: str
    present: Callable[[], bool]


def _loads(library: str) -> bool:
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _library(name: str, package: str) -> Need:
    return Need(name, package, lambda: _loads(name))


# Qt's window on X11 and OpenCV's pictures. Qt loads libxcb-cursor only when a window opens, and its error
# then points at the wrong place, so it is looked for here.
_WINDOW = (
    _library("libGL.so.1", "libgl1"),
    _library("libEGL.so.1", "libegl1"),
    _library("libglib-2.0.so.0", "libglib2.0-0"),
    _library("libfontconfig.so.1", "libfontconfig1"),
    _library("libdbus-1.so.3", "libdbus-1-3"),
    _library("libxkbcommon.so.0", "libxkbcommon0"),
    _library("libxkbcommon-x11.so.0", "libxkbcommon-x11-0"),
    _library("libX11-xcb.so.1", "libx11-xcb1"),
    _library("libxcb-cursor.so.0", "libxcb-cursor0"),
    _library("libxcb-icccm.so.4", "libxcb-icccm4"),
    _library("libxcb-image.so.0", "libxcb-image0"),
    _library("libxcb-keysyms.so.1", "libxcb-keysyms1"),
    _library("libxcb-randr.so.0", "libxcb-randr0"),
    _library("libxcb-render-util.so.0", "libxcb-render-util0"),
    _library("libxcb-shape.so.0", "libxcb-shape0"),
    _library("libxcb-xkb.so.1", "libxcb-xkb1"),
)

# A virtual display for the tests' windows, and a compiler for the camera that the tests pretend to plug in.
_TESTS = (
    Need("Xvfb", "xvfb", lambda: shutil.which("Xvfb") is not None),
    Need("gcc", "gcc", lambda: shutil.which("gcc") is not None),
    Need("the C library's headers", "libc6-dev", lambda: Path("/usr/include/stdio.h").exists()),
)


def missing_needs(*, tests: bool, venv_package: str | None) -> list[Need]:
    """Return what the system lacks.

    Parameters
    ----------
    tests
        Count what only the tests need.
    venv_package
        The package that lets Python make virtual environments, where that is missing.
    """
    if not sys.platform.startswith("linux"):
        if venv_package:
            raise SetupError("This Python can't make virtual environments. Install Python from python.org.")
        return []
    needs = [need for need in (*_WINDOW, *(_TESTS if tests else ())) if not need.present()]
    if venv_package:
        needs.insert(0, Need("virtual environments for Python", venv_package, lambda: False))
    return needs


def _user_is_root() -> bool:
    return sys.platform != "win32" and os.geteuid() == 0


def provide(needs: list[Need]) -> None:
    """Install what is missing, with root on Debian and its kin; otherwise say what to install.

    Raises
    ------
    SetupError
        It isn't for us to install, or installing failed.
    """
    if not needs:
        return
    names = ", ".join(need.name for need in needs)
    packages = sorted({need.package for need in needs})
    if shutil.which("apt-get") is None:
        raise SetupError(
            f"This system lacks: {names}. Install them with the system's package manager and start again. "
            f"(On Debian the packages are {' '.join(packages)}.)"
        )
    install = ["apt-get", "install", "-y", "--no-install-recommends", *packages]
    if not _user_is_root():
        raise SetupError(
            f"This system lacks: {names}. Install them with\n\n"
            f"    sudo apt-get update && sudo {' '.join(install)}\n\nand start again."
        )
    print(f"Installing what the system lacks: {names}.", flush=True)
    environment = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for command in (["apt-get", "update", "-q"], install):
        if subprocess.run(command, env=environment, stdin=subprocess.DEVNULL, check=False).returncode:
            raise SetupError(
                f"“{' '.join(command)}” failed; its message stands above. Mend that and start again."
            )
