"""The job itself: what happens when a face is captured, looked at again, and graded.

A picture goes in; a reading and a verdict come out, and, where a ledger is open, a kept look. The window and the
command line both come through here, so they cannot disagree.
"""

import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from workstation.criteria import Criteria, judge
from workstation.endface import follow_fibre, read_face
from workstation.values import Fit, NoFit, Reading, Verdict


@dataclass(frozen=True, slots=True)
class Graded:
    """A reading with its verdict, and the seconds that measuring and grading took."""

    reading: Reading
    verdict: Verdict
    seconds: float


def grade(
    pixels: NDArray[np.uint8],
    criteria: Criteria,
    *,
    um_per_px: float | None = None,
    frames_averaged: int = 1,
    whole_contact_zone: bool = False,
) -> Graded:
    """Measure one picture and judge it.

    Parameters
    ----------
    pixels
        uint8, (height, width) grey or (height, width, 3) blue-green-red.
    criteria
        The acceptance table to judge by.
    um_per_px
        Scale in micrometres per pixel, where it is known better than from the cladding; None takes the cladding
        as ruler.
    frames_averaged
        How many frames the picture is the mean of.
    whole_contact_zone
        Refuse a picture that doesn't show the whole contact zone.

    Returns
    -------
    Graded
        The reading and its verdict. A picture that can't be judged has the verdict ``unreadable``; nothing is
        raised for what a picture shows.

    Raises
    ------
    ValueError
        ``pixels`` has another shape or type, or ``um_per_px`` isn't positive.
    """
    began = time.perf_counter()
    reading = read_face(
        pixels,
        um_per_px=um_per_px,
        mode_field_diameter_um=criteria.mode_field_diameter_um,
        frames_averaged=frames_averaged,
    )
    verdict = judge(reading, criteria, whole_contact_zone=whole_contact_zone)
    return Graded(reading, verdict, time.perf_counter() - began)


def live_fit(pixels: NDArray[np.uint8], previous: Fit | NoFit | None = None) -> Fit | NoFit:
    """Follow the fibre in a live picture.

    Parameters
    ----------
    pixels
        uint8, (height, width) grey or (height, width, 3) blue-green-red.
    previous
        What the frame before gave; it makes following quick and never enters a reading.

    Returns
    -------
    Fit or NoFit
    """
    return follow_fibre(pixels, previous)


__all__ = ["Graded", "grade", "live_fit"]
