"""How the command line speaks: sentences on standard error, exit statuses, and wrong usage in words."""

import argparse
import sys
from typing import NoReturn

DONE = 0
NOT_DONE = 1
WRONG_USAGE = 2
STOPPED = 130  # as a shell says it of a command that Ctrl+C ended


class Parser(argparse.ArgumentParser):
    """A parser that takes no shortened options, and says after an error what to do."""

    def __init__(self, **settings: object) -> None:
        super().__init__(**{"allow_abbrev": False, **settings})  # type: ignore[arg-type]

    def error(self, message: str) -> NoReturn:
        """Say what is wrong with the command line, and leave with the status of wrong usage."""
        self.print_usage(sys.stderr)
        say(f"{self.prog}: {message}. “{self.prog} --help” explains every option.")
        raise SystemExit(WRONG_USAGE)


def say(sentence: str) -> None:
    """Write a sentence to standard error."""
    print(sentence, file=sys.stderr, flush=True)
