"""Decoding the single JPEG pictures of a camera's MJPG format, and refusing those spoilt on the way.

OpenCV's camera backend hands out the previous picture again where one can't be decoded, and fills up with
grey what was cut off (compare opencv/opencv issue 23311); neither may reach a measurement.
"""

import numpy as np
from numpy.typing import NDArray

from workstation.opencv_setup import cv2

_START, _END = b"\xff\xd8", b"\xff\xd9"  # SOI and EOI: ITU-T T.81, table B.1
_TAIL = 64  # some cameras pad a picture with a few bytes


class MotionJpegDecoder:
    """Decodes one camera's pictures.

    A few cameras never write the end marker. Once this one has written it, a picture without is one cut
    short.
    """

    def __init__(self) -> None:
        self._writes_end = False

    def decode(self, data: NDArray[np.uint8]) -> NDArray[np.uint8] | None:
        """Decode one picture.

        Parameters
        ----------
        data
            Any shape; its bytes in order.

        Returns
        -------
        NDArray[np.uint8] or None
            Shape (height, width, 3), blue-green-red; None for a spoilt picture.
        """
        flat = data.reshape(-1)
        if flat[:2].tobytes() != _START:
            return None
        if _END in flat[-_TAIL:].tobytes():
            self._writes_end = True
        elif self._writes_end:
            return None
        picture = cv2.imdecode(flat, cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
        return None if picture is None else np.asarray(picture, dtype=np.uint8)
