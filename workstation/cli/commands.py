"""The command line as a whole: the table of subcommands, and the window where none is given.

Nothing heavy is imported before it is needed: Qt only for the window, OpenCV and SciPy only for grading.
"""

import argparse
import io
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from workstation import __version__
from workstation.cli import criteria, grade
from workstation.cli.words import NOT_DONE, STOPPED, Parser, say

_WINDOW_OPTIONS = ("source", "ledger", "session")

SUBCOMMANDS: tuple[Callable[["argparse._SubParsersAction[Parser]"], None], ...] = (
    grade.add_to,
    criteria.add_to,
)
"""Each adds one subcommand, its options, and under ``run`` the function that does it and returns a status."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Do what the command line says.

    Parameters
    ----------
    arguments
        Words of the command line without the command itself; None takes those of this process.

    Returns
    -------
    int
        The exit status: 0 done, 1 done in part or not done, 2 wrong usage, 130 stopped by Ctrl+C.
    """
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A console or file in an old code page hasn't every character; a mark is better than an error.
        sys.stdout.reconfigure(errors="backslashreplace")
    parser = _parser()
    try:
        chosen = parser.parse_args(arguments)
    except SystemExit as end:  # argparse has said what there was to say
        return end.code if isinstance(end.code, int) else 2
    try:
        if chosen.subcommand is None:
            return _open_window(chosen)
        for name in _WINDOW_OPTIONS:
            if getattr(chosen, name) is not None:
                say(f"--{name} is for the window and doesn't go with “{chosen.subcommand}”. Leave it out.")
                return 2
        status: int = chosen.run(chosen)
        sys.stdout.flush()
    except KeyboardInterrupt:
        say("Stopped.")
        return STOPPED
    except BrokenPipeError:
        # Whoever read what was written has gone. Python would complain once more when it closes the pipe.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NOT_DONE
    return status


def _parser() -> Parser:
    parser = Parser(
        prog="endface",
        description="Inspect, measure and grade the polished end faces of fibre-optic connectors. "
        "Without a subcommand the window opens.",
        epilog="The published standard rules, and visual inspection doesn't replace measurements of loss and "
        "return loss.",
    )
    parser.add_argument("--version", action="version", version=f"endface {__version__}")
    window = parser.add_argument_group("options of the window")
    window.add_argument(
        "--source",
        metavar="SOURCE",
        help="where pictures come from: simulator, a camera's id, the path of a film or of a folder of "
        "pictures, or the address of a stream; otherwise the source used last",
    )
    window.add_argument("--ledger", metavar="DIR", type=Path, help="folder that keeps sessions and pictures")
    window.add_argument(
        "--session", metavar="NAME", help="session to open, or to begin if there is none of that name"
    )
    subparsers = parser.add_subparsers(title="subcommands", dest="subcommand", metavar="SUBCOMMAND")
    for add_to in SUBCOMMANDS:
        add_to(subparsers)
    return parser


def _open_window(chosen: argparse.Namespace) -> int:
    from workstation.bootstrap import has_display

    if not has_display(sys.platform, dict(os.environ)):
        say(
            "There is no display to open a window on: neither DISPLAY nor WAYLAND_DISPLAY is set. Start this "
            "command from a desktop session, or with X forwarding (ssh -X). Pictures in files can be graded "
            "without a display: “endface grade PATH”."
        )
        return NOT_DONE
    from workstation.window import Options, run

    return run(Options(source=chosen.source or "", ledger=chosen.ledger, session=chosen.session or ""))
