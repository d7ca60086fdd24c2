"""Where records are written: standard output, or a file that takes its name only when all is written."""

import contextlib
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO


class OutputError(Exception):
    """The output can't be written; the message says why and what to do."""


@contextlib.contextmanager
def output(file: Path | None) -> Iterator[TextIO]:
    """Give a text file to write records to.

    Parameters
    ----------
    file
        Where to; None for standard output. A regular file is written aside and renamed when the block ends
        well; otherwise what was written goes, and what lay there before stays as it was. Anything else, such
        as a pipe or a terminal, is written to directly.

    Raises
    ------
    OutputError
        The file can't be made or written.
    """
    if file is None:
        yield sys.stdout
        return
    try:
        target = file.resolve()  # a link stays a link, and what it names is replaced
        if target.is_dir():
            raise OutputError(f"{file} is a folder. Give --out the name of a file.")
        if target.exists() and not target.is_file():
            with target.open("w", encoding="ascii", newline="\n") as stream:
                yield stream
            return
        with _aside(target) as stream:
            yield stream
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(
            f"{file} can't be written: {error.strerror or error}. Check that its folder exists, may be "
            "written to and has room, or choose another place."
        ) from error


@contextlib.contextmanager
def _aside(target: Path) -> Iterator[TextIO]:
    aside = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with aside.open("x", encoding="ascii", newline="\n") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        if target.exists():
            shutil.copymode(target, aside)
        aside.replace(target)
    finally:
        aside.unlink(missing_ok=True)
