"""Consecutive frames for one capture."""

from workstation.values import Frame


class Burst:
    """Consecutive frames, collected by the feed thread; made by :meth:`Feed.capture`.

    A read that fails, or a change of size, starts the collection over, so that the frames belong together.
    """

    def __init__(self, count: int, after_s: float) -> None:
        self.count = count
        self.after_s = after_s
        self._frames: list[Frame] = []
        self._taken: tuple[Frame, ...] = ()

    @property
    def progress(self) -> int:
        """How many frames are there."""
        return len(self._frames)

    @property
    def frames(self) -> tuple[Frame, ...]:
        """All frames, oldest first, or nothing until the last one is there."""
        return self._taken

    @property
    def complete(self) -> bool:
        """Whether all frames are there."""
        return bool(self._taken)

    def offer(self, frame: Frame) -> bool:
        """Take a frame if it belongs, and say whether it was the last one; called by the feed's thread."""
        if frame.began_s < self.after_s:
            return False
        if self._frames and self._frames[-1].pixels.shape != frame.pixels.shape:
            self._frames.clear()
        self._frames.append(frame)
        if len(self._frames) == self.count:
            self._taken = tuple(self._frames)
            return True
        return False

    def start_over(self) -> None:
        """Forget the frames so far; called by the feed's thread."""
        self._frames.clear()
