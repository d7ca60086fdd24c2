"""From a fresh machine to an open window, or to passed tests, with nothing but Python's standard library.

``python3 -m workstation.bootstrap`` sets everything up and opens the window on the simulated microscope;
``python3 -m workstation.bootstrap test`` sets everything up and runs every check and test. Both skip what is
already done. Everything goes into ``.venv`` in the checkout; with root on Debian, missing system packages are
installed too.
"""

from __future__ import annotations  # an older Python must get as far as saying that it is too old

import argparse
import contextlib
import hashlib
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

from workstation.system_needs import SetupError, missing_needs, provide

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
STAMP = VENV / "set-up.json"
OLDEST, NEWEST = (3, 11), (3, 13)
RUN_LOCK, TEST_LOCK = "requirements.lock", "requirements-dev.lock"


def main(arguments: list[str] | None = None) -> int:
    """Set up, then open the window or run the tests.

    Parameters
    ----------
    arguments
        Words of the command line; None takes those of this process.

    Returns
    -------
    int
        0 where all went well; otherwise what the failing step returned, or 1 where the set-up couldn't go on.
    """
    parser = argparse.ArgumentParser(
        prog="python3 -m workstation.bootstrap",
        description="Set everything up, then open the window on the simulated microscope, or run the tests.",
    )
    parser.add_argument(
        "what",
        nargs="?",
        choices=("open", "test", "setup"),
        default="open",
        help="open the window (as without a word), run every check and test, or only set up",
    )
    what = parser.parse_args(arguments).what
    try:
        set_up(tests=what == "test")
        if what == "test":
            return run_tests()
        return open_window() if what == "open" else 0
    except SetupError as error:
        print(f"\n{error}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("\nStopped.", file=sys.stderr)
        return 130


def set_up(*, tests: bool) -> None:
    """Bring the system's libraries, the environment, the locked dependencies and the program into place.

    Raises
    ------
    SetupError
        A step can't be done here; the message says what to do.
    """
    python = find_python()
    ready = _environment_works()
    venv_package = None if ready or _can_make_environments(python) else _venv_package(python)
    provide(missing_needs(tests=tests, venv_package=venv_package))
    if not ready:
        say(f"Making a virtual environment in {VENV}.")
        _run([python, "-m", "venv", "--clear", str(VENV)], "Making the virtual environment")
    _install_locked(TEST_LOCK if tests else RUN_LOCK)
    _install_program()


def find_python() -> str:
    """Return an interpreter that the program runs on: this one, or one found by its usual name.

    Raises
    ------
    SetupError
        There is none.
    """
    if OLDEST <= sys.version_info[:2] <= NEWEST:
        return sys.executable
    for minor in range(NEWEST[1], OLDEST[1] - 1, -1):
        found = shutil.which(f"python3.{minor}")
        if found:
            return found
    raise SetupError(
        f"Python {OLDEST[0]}.{OLDEST[1]} to {NEWEST[0]}.{NEWEST[1]} is needed; this is "
        f"{sys.version_info[0]}.{sys.version_info[1]}. Install one beside it and start again with it."
    )


def environment_python() -> Path:
    """Return where the environment's interpreter lies on this platform."""
    return VENV / "Scripts" / "python.exe" if os.name == "nt" else VENV / "bin" / "python"


def open_window() -> int:
    """Open the window on the simulated microscope and wait until it is closed.

    Raises
    ------
    SetupError
        There is no display.
    """
    if not has_display(sys.platform, dict(os.environ)):
        raise SetupError(
            "All is set up, but there is no display to open a window on: neither DISPLAY nor WAYLAND_DISPLAY "
            "is set. Start this command from a desktop session, or with X forwarding (ssh -X)."
        )
    return _status([str(environment_python()), "-m", "workstation", "--source", "simulator"])


def has_display(platform: str, environment: dict[str, str]) -> bool:
    """Whether a window can be opened, as far as the environment tells."""
    if not platform.startswith("linux"):
        return True
    return any(environment.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM"))


def run_tests() -> int:
    """Run every check and test; return 0, or what the first step that failed returned.

    The window's tests run twice on Linux, without a screen and in a real window on a virtual one, since each
    shows faults that the other hides. The last step is the whole suite, so that its summary stands last.
    """
    python = str(environment_python())
    tool = str(environment_python().parent) + os.sep
    for command in (
        [tool + "ruff", "check", "."],
        [tool + "ruff", "format", "--check", "."],
        [tool + "mypy"],
        [tool + "lint-imports"],
    ):
        say(f"Checking: {Path(command[0]).name} {' '.join(command[1:])}")
        if status := _status(command):
            return status
    if not sys.platform.startswith("linux"):
        return _status([python, "-m", "pytest"])
    if (ROOT / "tests" / "window").is_dir():
        say("Testing the window without a screen.")
        if status := _status([python, "-m", "pytest", "tests/window"], QT_QPA_PLATFORM="offscreen"):
            return status
    say("Testing everything, the window on a virtual screen.")
    with virtual_display() as display:
        return _status([python, "-m", "pytest"], DISPLAY=display, QT_QPA_PLATFORM="xcb")


@contextlib.contextmanager
def virtual_display(screen: str = "1600x1200x24") -> Iterator[str]:
    """Start a virtual X server on a free number for as long as the block lasts; give its name."""
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", screen, "-nolisten", "tcp"],
        pass_fds=(writing,),
        stdin=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as answer:
            number = answer.readline().strip()
        if not number:
            raise SetupError("The virtual screen (Xvfb) didn't start. Try “Xvfb :99” by hand to see why.")
        yield f":{number}"
    finally:
        server.terminate()
        server.wait()


def say(text: str) -> None:
    """Tell the person what happens now."""
    print(f"\n{text}", flush=True)


def _environment_works() -> bool:
    """Whether the environment is there, has pip, and runs on a version that the program runs on.

    One that was made elsewhere and moved here doesn't count: its commands still name the old place.
    """
    if _stamps().get("checkout", str(ROOT)) != str(ROOT):
        return False
    probe = "import sys, pip; print(sys.version_info[0], sys.version_info[1])"
    try:
        answer = subprocess.run(
            [str(environment_python()), "-c", probe], capture_output=True, text=True, check=False
        )
    except OSError:  # no interpreter there, or one that this machine can't run
        return False
    version = tuple(int(word) for word in answer.stdout.split())
    return answer.returncode == 0 and OLDEST <= version <= NEWEST


def _can_make_environments(python: str) -> bool:
    probe = [python, "-c", "import venv, ensurepip"]
    return subprocess.run(probe, capture_output=True, check=False).returncode == 0


def _venv_package(python: str) -> str:
    probe = "import sys; print('python%d.%d-venv' % sys.version_info[:2])"
    return subprocess.run([python, "-c", probe], capture_output=True, text=True, check=True).stdout.strip()


def _install_locked(lock: str) -> None:
    """Install exactly what a lock file names, each file checked by its hash, unless that was done."""
    digest = _digest(ROOT / lock)
    if _stamps().get(lock) == digest:
        return
    say(f"Installing the libraries named in {lock}. The first time this takes some minutes.")
    pip = [str(environment_python()), "-m", "pip", "install", "--no-input", "--disable-pip-version-check"]
    quiet = [] if sys.stdout.isatty() else ["--quiet"]
    _run([*pip, *quiet, "--require-hashes", "-r", str(ROOT / lock)], f"Installing the libraries of {lock}")
    _remember(lock, digest)


def _install_program() -> None:
    """Install the program itself, so that the command ``endface`` is there, unless that was done."""
    digest = _digest(ROOT / "pyproject.toml")
    if _stamps().get("pyproject.toml") == digest:
        return
    pip = [str(environment_python()), "-m", "pip", "install", "--no-input", "--disable-pip-version-check"]
    # The build tool is among the locked libraries, so nothing is fetched here that no lock names.
    options = ["--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--editable", str(ROOT)]
    _run([*pip, *options], "Installing the program itself")
    _remember("pyproject.toml", digest)


def _digest(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _stamps() -> dict[str, str]:
    """Return what was installed by which file's digest; nothing where that isn't known for sure."""
    try:
        stamps = json.loads(STAMP.read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):  # never set up, or cut short while writing: then do it again
        return {}
    return stamps if isinstance(stamps, dict) else {}


def _remember(name: str, digest: str) -> None:
    stamps = {**_stamps(), "checkout": str(ROOT), name: digest}
    STAMP.write_text(json.dumps(stamps, indent=1), encoding="utf-8")


def _run(command: list[str], what: str) -> None:
    if _status(command):
        raise SetupError(f"{what} failed; the message stands above. Mend that and start again.")


def _status(command: list[str], **environment: str) -> int:
    """Run a command in the checkout and return its exit status."""
    done = subprocess.run(
        command, cwd=ROOT, env={**os.environ, **environment}, stdin=subprocess.DEVNULL, check=False
    )
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
