"""The window for people: draws what the rooms below say, asks `workstation.bench`, measures nothing."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

__all__ = ["Options", "run"]


@dataclass(frozen=True, slots=True)
class Options:
    """How the window starts; what is None or empty is taken from the settings.

    Attributes
    ----------
    source
        ``simulator``, a camera's id, the path of a film or a folder of pictures, or an address.
    ledger
        Folder of the ledger.
    session
        Name of a session to open, or to begin if there is none of that name.
    settings
        File of the settings; None for the platform's own place.
    """

    source: str = ""
    ledger: Path | None = None
    session: str = ""
    settings: Path | None = None


def run(options: Options | None = None, arguments: Sequence[str] = ()) -> int:
    """Open the window and stay until it is closed.

    Parameters
    ----------
    options
        How to start.
    arguments
        Arguments for Qt itself, such as ``-platform offscreen``.

    Returns
    -------
    int
        0, or what Qt says.
    """
    from workstation.window.application import run_application

    return run_application(options or Options(), list(arguments))
