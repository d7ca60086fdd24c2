"""``endface grade``: pictures in files to records, one line of JSON each, in the order given."""

import argparse
import math
import os
import sys
from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from workstation.cli.output import OutputError, output, told
from workstation.cli.words import DONE, NOT_DONE, WRONG_USAGE, Parser, say

if TYPE_CHECKING:
    from workstation.cli.one_picture import Settings, Task

MOST_JOBS = 256


def add_to(subparsers: "argparse._SubParsersAction[Parser]") -> None:
    """Add the subcommand."""
    parser = subparsers.add_parser(
        "grade",
        help="grade pictures in files and folders",
        description="Grade pictures in files and folders. Each gives one JSON object on one line, in the "
        "order given; in a folder, in the natural order of the names. Folders in folders aren't searched.",
        epilog="Exit status 0: every picture was processed, whatever its verdict; 1: some couldn't be read "
        "(their record says “error”, the rest are complete), or the records couldn't be written to the end; "
        "2: wrong usage; 130: stopped by Ctrl+C.",
    )
    parser.add_argument("paths", metavar="PATH", nargs="+", help="picture file, or folder of pictures")
    parser.add_argument(
        "--criteria",
        metavar="ID|FILE",
        help="criteria to judge by: an id that “endface criteria” lists, or a file; else the default set",
    )
    parser.add_argument(
        "--scale",
        metavar="UM_PER_PX",
        type=_scale,
        help="micrometres per pixel, where that is known better than from the cladding's diameter",
    )
    parser.add_argument(
        "--jobs", metavar="N", type=_jobs, default=1, help="how many pictures to grade at once (1)"
    )
    parser.add_argument(
        "--whole-contact-zone",
        action="store_true",
        help="a picture that doesn't show the whole contact zone is unreadable",
    )
    parser.add_argument(
        "--out",
        metavar="FILE",
        type=Path,
        help="write the records to FILE instead of standard output; it takes its name only when all is "
        "written, so a run that was stopped leaves an older file as it was",
    )
    parser.add_argument(
        "--progress",
        action=argparse.BooleanOptionalAction,
        help="show a progress bar on standard error; otherwise only where that is a terminal",
    )
    parser.set_defaults(run=run)


def run(chosen: argparse.Namespace) -> int:
    """Grade the pictures that were named; return the exit status."""
    # One picture is too small for several threads of linear algebra to pay, and several jobs would fight for
    # the cores. It is read once, when NumPy loads.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from workstation.cli.one_picture import Settings
    from workstation.criteria import DEFAULT_ID, CriteriaError, load_criteria

    try:
        criteria = load_criteria(chosen.criteria or DEFAULT_ID)
    except CriteriaError as error:
        say(str(error))
        return WRONG_USAGE
    settings = Settings(criteria, chosen.scale, chosen.whole_contact_zone)
    tasks = tasks_of(chosen.paths)
    if chosen.out is not None and _is_one_of(chosen.out, tasks):
        say(f"{chosen.out} is one of the pictures to grade. Give --out another name, so that it isn't lost.")
        return WRONG_USAGE
    try:
        unread = _write(tasks, settings, chosen)
    except OutputError as error:
        say(str(error))
        return error.status
    if unread:
        say(f"{unread} of {len(tasks)} couldn't be read; each one's record says why under “error”.")
    return NOT_DONE if unread else DONE


def tasks_of(paths: Iterable[str]) -> list["Task"]:
    """List the pictures; what can't be listed becomes a task that only says why."""
    from workstation.cli.one_picture import Task
    from workstation.frames import PictureError, list_pictures

    tasks: list[Task] = []
    for given in paths:
        path = Path(given)
        try:
            pictures = list_pictures([given])
        except PictureError as error:
            tasks.append(Task(given, path, error.sentence))
            continue
        if not pictures:
            tasks.append(
                Task(
                    given,
                    path,
                    f"There are no pictures directly in the folder {path}. Name the folder that holds them; "
                    "PNG, JPEG, BMP, TIFF and WebP files are graded.",
                )
            )
        # Path would tidy up what was given.
        tasks.extend(Task(given if picture == path else str(picture), picture) for picture in pictures)
    return tasks


def _write(tasks: Sequence["Task"], settings: "Settings", chosen: argparse.Namespace) -> int:
    """Write the records and return how many pictures couldn't be read."""
    from tqdm import tqdm

    from workstation.cli.lanes import in_order
    from workstation.cli.one_picture import line_of, lost

    work = partial(line_of, settings=settings)
    unread = 0
    hidden = None if chosen.progress is None else not chosen.progress  # None: where there is no terminal
    with (
        output(chosen.out) as stream,
        tqdm(total=len(tasks), unit="picture", disable=hidden, file=sys.stderr) as bar,
    ):
        for line in in_order(tasks, work, lost, chosen.jobs):
            with told(chosen.out):
                bar.write(line.text, file=stream)
                stream.flush()
            unread += not line.read
            bar.update()
    return unread


def _is_one_of(out: Path, tasks: Iterable["Task"]) -> bool:
    return out.exists() and any(task.path.exists() and task.path.samefile(out) for task in tasks)


def _scale(text: str) -> float:
    try:
        scale = float(text)
    except ValueError:
        scale = math.nan
    if not (math.isfinite(scale) and scale > 0):
        raise argparse.ArgumentTypeError(f"“{text}” is no scale; give micrometres per pixel, such as 0.25")
    return scale


def _jobs(text: str) -> int:
    jobs = int(text) if text.isascii() and text.isdigit() else 0
    if not 1 <= jobs <= MOST_JOBS:
        raise argparse.ArgumentTypeError(f"“{text}” is no number of jobs; give 1 to {MOST_JOBS}")
    return jobs
