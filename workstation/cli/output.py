"""Where records are written: standard output, or a file that takes its name only when all is written."""

import contextlib
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from workstation.cli.words import NOT_DONE, WRONG_USAGE


class OutputError(Exception):
    """The output can't be written.

    Parameters
    ----------
    sentence
        Where, why, and what to do.
    status
        The exit status that fits.
    """

    def __init__(self, sentence: str, status: int) -> None:
        super().__init__(sentence)
        self.status = status


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
        The file can't be made or finished.
    """
    if file is None:
        yield sys.stdout
        return
    with told(file, WRONG_USAGE):
        target = file.resolve()  # a link stays a link, and what it names is replaced
        if target.is_dir():
            raise OutputError(f"{file} is a folder. Give --out the name of a file.", WRONG_USAGE)
        aside = target.with_name(f".{target.name}.{os.getpid()}.part")
        direct = target.exists() and not target.is_file()
        stream = (target if direct else aside).open("w", encoding="ascii", newline="\n")
    try:
        yield stream
        with told(file):
            stream.flush()
            if not direct:
                os.fsync(stream.fileno())
            stream.close()
            if not direct:
                if target.exists():
                    shutil.copymode(target, aside)
                aside.replace(target)
    finally:
        with contextlib.suppress(OSError):  # what is still to be written is thrown away all the same
            stream.close()
        if not direct:
            aside.unlink(missing_ok=True)


@contextlib.contextmanager
def told(file: Path | None, status: int = NOT_DONE) -> Iterator[None]:
    """Turn the system's errors of writing into an `OutputError`; a reader that has gone stays what it is."""
    try:
        yield
    except BrokenPipeError:
        raise
    except OSError as error:
        where = "Standard output" if file is None else str(file)
        raise OutputError(
            f"{where} can't be written: {error.strerror or error}. Check that the folder exists, may be "
            "written to and has room, or choose another place.",
            status,
        ) from error
