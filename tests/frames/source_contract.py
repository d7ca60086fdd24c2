"""What every source of frames must do, whatever it is."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from workstation.frames import FrameSource, Renewable


def assert_keeps_the_contract(make: Callable[[], FrameSource], *, moves: bool) -> None:
    """Go through a source's whole life.

    Parameters
    ----------
    make
        Makes a source that can be opened.
    moves
        Whether each of its frames differs from the one before.
    """
    source = make()
    assert isinstance(source, FrameSource)
    assert source.name.strip() == source.name != ""
    source.close()  # harmless before it was opened

    for _ in range(2):  # a source can be opened again after it was closed
        source.open()
        frames = [source.read()]
        kept = frames[0].copy()
        frames += [source.read() for _ in range(3)]
        for frame in frames:
            assert frame.dtype == np.uint8
            assert frame.ndim == 2 or (frame.ndim == 3 and frame.shape[2] == 3)
            assert min(frame.shape[:2]) >= 64
            assert frame.flags.c_contiguous
            assert frame.shape == frames[0].shape
        np.testing.assert_array_equal(frames[0], kept, "the source wrote into a frame that it had handed out")
        if moves:
            assert all(not np.array_equal(a, b) for a, b in pairwise(frames))
        source.close()
        source.close()

    if isinstance(source, Renewable):
        other = source.renewed()
        assert other is not source
        assert other.name == source.name
        other.open()
        assert other.read().shape == kept.shape
        other.close()
