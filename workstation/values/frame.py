"""One picture as it came from a source."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One picture as it came from a source.

    Attributes
    ----------
    pixels
        uint8, shape (height, width) for grey or (height, width, 3) in blue-green-red order. Nobody writes to it
        after the frame was made, so that the window may draw it while a worker measures it.
    sequence
        Counts up by one for each frame the source delivered; a gap tells a late reader how many it missed.
    began_s
        Monotonic time at which the read of this frame began. A capture takes the first frame whose read began
        after the key was pressed: a driver keeps a few old frames in its queue.
    taken_s
        Monotonic time at which the frame was in memory.
    source
        The name of the source, for a person to read.
    """

    pixels: NDArray[np.uint8]
    sequence: int = 0
    began_s: float = 0.0
    taken_s: float = 0.0
    source: str = ""

    @property
    def height(self) -> int:
        """Height in pixels."""
        return int(self.pixels.shape[0])

    @property
    def width(self) -> int:
        """Width in pixels."""
        return int(self.pixels.shape[1])
