"""One picture file to one line of the record, in this process or in a worker."""

import logging
from dataclasses import dataclass
from pathlib import Path

# isort: off
import workstation.opencv_setup  # noqa: F401 - before anything else that loads OpenCV

# isort: on
from workstation.bench import grade
from workstation.criteria import Criteria
from workstation.frames import PictureError, read_picture
from workstation.reports import error_record, record, record_line

logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Task:
    """A picture to grade.

    Attributes
    ----------
    image
        The path as the record gives it.
    path
        The file.
    error
        Why there is no picture to grade; empty for a picture.
    """

    image: str
    path: Path
    error: str = ""


@dataclass(frozen=True, slots=True)
class Settings:
    """How to grade: see `workstation.bench.grade`."""

    criteria: Criteria
    um_per_px: float | None = None
    whole_contact_zone: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A record as one line of JSON without its end, and whether the picture could be read."""

    text: str
    read: bool


def line_of(task: Task, settings: Settings) -> Line:
    """Read, measure, judge and record one picture; whatever goes wrong with it ends in its own record."""
    if task.error:
        return unread(task, task.error)
    try:
        pixels = read_picture(task.path)
        graded = grade(
            pixels,
            settings.criteria,
            um_per_px=settings.um_per_px,
            whole_contact_zone=settings.whole_contact_zone,
        )
        values = record(task.image, graded.reading, graded.verdict, graded.seconds)
        return Line(record_line(values), read=True)
    except PictureError as error:
        return unread(task, error.sentence)
    except MemoryError:
        return unread(
            task,
            f"There isn't enough memory to grade {task.path}. Use fewer jobs, close other programs, or "
            "save the picture smaller.",
        )
    except Exception:  # a fault of this program must not cost the other pictures their records
        logger.exception("Grading %s failed because of a fault in this program:", task.path)
        return unread(
            task,
            f"Grading {task.path} failed because of a fault in this program; standard error has the details. "
            "Keep the picture and report the fault.",
        )


def lost(task: Task) -> Line:
    """Return the record of a picture whose worker died."""
    return unread(
        task,
        f"The process that graded {task.path} ended before it was done; the system may have run out of "
        "memory. Grade this picture again by itself, or with fewer jobs.",
    )


def unread(task: Task, sentence: str) -> Line:
    """Return the record of a picture that couldn't be read."""
    return Line(record_line(error_record(task.image, sentence)), read=False)
