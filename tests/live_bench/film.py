"""The film that the fake camera plays: one face that wanders slowly, there and back without a jump."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from workstation.simulator.live import SimulatedMicroscope

DRIFT_UM = 10.0
EVERY = 3
"""Of so many frames of the simulated microscope one is kept, so that the face moves a few micrometres."""


def wandering_face(size: tuple[int, int], count: int = 20, seed: int = 1) -> Iterator[NDArray[np.uint8]]:
    """Draw a face that wanders by a few micrometres and shakes a little.

    Parameters
    ----------
    size
        Width and height in pixels; the cladding spans about half of the height.
    count
        Frames on the way there; the way back shows the same ones, so that 2 ``count`` - 2 are yielded.
    seed
        Which connector, and which noise.

    Yields
    ------
    NDArray[np.uint8]
        Shape (height, width, 3), blue-green-red.
    """
    width, height = size
    microscope = SimulatedMicroscope(
        seed, width_px=width, height_px=height, um_per_px=0.25 * 1024 / height, colour=True, frames_per_s=0
    )
    microscope.drift_um = DRIFT_UM
    microscope.open()
    there = []
    for n in range(count * EVERY):
        frame = microscope.read()
        if n % EVERY == 0:
            there.append(frame)
    microscope.close()
    yield from there
    yield from there[-2:0:-1]
