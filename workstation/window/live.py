"""The live picture: newest frame only, measured off the window's thread, drawn together with its own fit.

A timer looks into the feed's slot. A new frame goes to a worker if that is idle, and is dropped otherwise;
when its fit is there, picture and rings are handed out as one pair, so that rings never lag behind the
picture. If a fit takes too long, the picture is handed out at once and the rings follow.
"""

import time
from collections import deque
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QObject, Qt, QTimer, Signal

from workstation.frames import Burst, Feed, FeedEvent, FeedEventKind, FrameSource
from workstation.values import Fit, Frame, NoFit
from workstation.window.jobs import Jobs

LOOK_EVERY_MS = 8
HELD_BACK_S = 0.2
"""Longest time for which the picture waits for a fit; on a busy machine, rings that come and go disturb more
than a picture that comes less often."""
CAPTURE_LIMIT_S = 4.0
"""Longest wait for a frame after the capture key; longer than a stall takes to be noticed."""

LiveFit = Callable[[NDArray[np.uint8], Fit | NoFit | None], Fit | NoFit]


class Live(QObject):
    """Runs a feed and hands out pictures with their fits.

    Signals, all on the window's thread: ``shown`` (Frame, and Fit, NoFit or None), ``told`` (FeedEvent),
    ``captured`` (Frame), ``missed`` (a sentence: no frame came after the key),
    ``faulted`` (a sentence: the fit itself went wrong; told once a source).

    Parameters
    ----------
    live_fit
        The fit for a picture, given the one before it.
    """

    shown = Signal(object, object)
    told = Signal(object)
    captured = Signal(object)
    missed = Signal(str)
    faulted = Signal(str)

    def __init__(self, live_fit: LiveFit, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._live_fit = live_fit
        self._fits = Jobs("live-fit", 1, self)
        self._closing = Jobs("feed-closing", 2, self)
        self._feed: Feed | None = None
        self._fitting = False
        self._previous: Fit | NoFit | None = None
        self._seen = -1
        self._bare: Frame | None = None
        self._faulted = False
        self._shown_s = 0.0
        self._times: deque[float] = deque(maxlen=30)
        self._burst: Burst | None = None
        self._asked_s = 0.0
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(LOOK_EVERY_MS)
        self._timer.timeout.connect(self._look)

    @property
    def feed(self) -> Feed | None:
        """The feed that runs now."""
        return self._feed

    @property
    def frames_per_second(self) -> float:
        """How many pictures a second were handed out lately; 0 when none came for a second."""
        if len(self._times) < 2 or time.monotonic() - self._times[-1] > 1.0:
            return 0.0
        return (len(self._times) - 1) / max(self._times[-1] - self._times[0], 1e-6)

    @property
    def waiting_for_capture(self) -> bool:
        """Whether a capture was asked for and its frame has not come yet."""
        return self._burst is not None

    @property
    def busy(self) -> bool:
        """Whether a fit is under way."""
        return self._fitting

    def open(self, source: FrameSource) -> None:
        """Start on a source; one that ran before is stopped out of the way."""
        self.leave()
        self._feed = Feed(source)
        self._previous = None
        self._seen = -1
        self._bare = None
        self._faulted = False
        self._shown_s = time.monotonic()
        self._times.clear()
        self._feed.start()
        self._timer.start()

    def leave(self) -> None:
        """Stop the feed, if one runs, without waiting for it."""
        self._timer.stop()
        feed, self._feed = self._feed, None
        if self._burst is not None:
            self._burst = None
            self.missed.emit("The source was changed before the picture was taken.")
        if feed is not None:
            self._closing.start(feed.stop, _ignore, _ignore)

    def capture(self) -> None:
        """Ask for the first frame whose read begins from now on; ``captured`` or ``missed`` follows."""
        if self._feed is None:
            self.missed.emit("There is no picture to capture. Choose a source first (Ctrl+O).")
        elif self._burst is None:
            self._asked_s = time.monotonic()
            self._burst = self._feed.capture(1, self._asked_s)

    def close(self) -> None:
        """Stop timer, feed and workers, in this order, and wait for them."""
        self._timer.stop()
        self._burst = None
        if self._feed is not None:
            self._feed.stop()
            self._feed = None
        self._fits.close()
        self._closing.close()

    def _look(self) -> None:
        feed = self._feed
        if feed is None:
            return
        for event in feed.poll():
            self._tell(event)
        if self._feed is not feed:  # whoever was told may have changed the source
            return
        self._look_after_capture(feed)
        frame = feed.newest()
        if frame is None or frame.sequence == self._seen:
            return
        if not self._fitting:
            self._begin_fit(frame)
        elif time.monotonic() - self._shown_s > HELD_BACK_S:
            self._seen = frame.sequence
            self._bare = frame
            self._hand_out(frame, None)

    def _tell(self, event: FeedEvent) -> None:
        if event.kind in (FeedEventKind.TROUBLE, FeedEventKind.ENDED):
            self._previous = None
        self.told.emit(event)

    def _look_after_capture(self, feed: Feed) -> None:
        burst = self._burst
        if burst is None:
            return
        if burst.complete:
            self._burst = None
            self.captured.emit(burst.frames[0])
        elif time.monotonic() - self._asked_s > CAPTURE_LIMIT_S:
            feed.cancel(burst)
            self._burst = None
            self.missed.emit(
                f"No picture came from {feed.name} within {CAPTURE_LIMIT_S:g} s of the key. Nothing was "
                "captured; check the source and capture again."
            )

    def _begin_fit(self, frame: Frame) -> None:
        self._fitting = True
        self._seen = frame.sequence
        feed, previous, fit = self._feed, self._previous, self._live_fit

        def done(found: Fit | NoFit) -> None:
            self._fitting = False
            if self._feed is feed:
                self._previous = found
                # A slow fit finds a newer picture on the screen: its rings go over that one, late but there.
                self._hand_out(frame if frame.sequence == self._seen else self._bare, found)

        def failed(trouble: BaseException) -> None:
            self._fitting = False
            self._hand_out(frame, None)
            if not self._faulted:
                self._faulted = True
                self.faulted.emit(
                    f"The live fit went wrong ({type(trouble).__name__}: {trouble}). The picture goes on "
                    "without rings; captures are graded all the same. Please report this."
                )

        self._fits.start(lambda: fit(frame.pixels, previous), done, failed)

    def _hand_out(self, frame: Frame | None, found: Fit | NoFit | None) -> None:
        if frame is None or self._feed is None or self._feed.trouble is not None:
            return  # a fit that ends after the source was lost must not take its sign away
        self._shown_s = time.monotonic()
        self._times.append(self._shown_s)
        self.shown.emit(frame, found)


def _ignore(_result: object) -> None:
    """Nothing is owed to anyone after a feed that was left has stopped."""
