"""OpenCV's results with the type that they have; its own annotations say no more than "some numbers"."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def f32(values: ArrayLike) -> NDArray[np.float32]:
    """Return the values as float32, without a copy where they are."""
    return np.asarray(values, np.float32)


def u8(values: ArrayLike) -> NDArray[np.uint8]:
    """Return the values as uint8, without a copy where they are."""
    return np.asarray(values, np.uint8)


def f64(values: ArrayLike) -> NDArray[np.float64]:
    """Return the values as float64, without a copy where they are."""
    return np.asarray(values, np.float64)
