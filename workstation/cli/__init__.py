"""The command ``endface``: the window, grading of files, criteria; one module a subcommand."""

from workstation.cli.commands import main

__all__ = ["main"]
