"""The feed: one thread that owns a source, one slot with the newest frame, a few rare events.

Nothing here waits on the caller's side except :meth:`Feed.wait_after` and :meth:`Feed.stop`. A window polls
from a timer: :meth:`Feed.poll` for what happened, :meth:`Feed.newest` for what to draw.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import TypeVar

from workstation.frames.burst import Burst
from workstation.frames.source import (
    Adjustable,
    Control,
    FrameSource,
    Renewable,
    SourceTrouble,
    Telling,
    TroubleKind,
)
from workstation.values import Frame

_T = TypeVar("_T")

STALL_S = 2.5
OPEN_S = 30.0
_BACK_OFF_S = (0.25, 0.5, 1.0, 2.0)
# A driver that never gives a thread back will not give back the next one either.
_MOST_ABANDONED = 3


class FeedEventKind(Enum):
    """The rare things that a feed tells."""

    CONNECTING = "connecting"
    CONNECTED = "connected"
    TROUBLE = "trouble"
    RECOVERED = "recovered"
    ENDED = "ended"
    REFUSED = "refused"
    NOTICE = "notice"


@dataclass(frozen=True, slots=True)
class FeedEvent:
    """Something rare that happened.

    Attributes
    ----------
    kind
        What happened. ``refused`` is a knob that couldn't be turned, ``notice`` something to know; with
        both, pictures go on.
    sentence
        For a person to read: what, where, what to do.
    trouble
        What is wrong with the source, for ``trouble`` and ``ended``.
    at_s
        Monotonic time.
    """

    kind: FeedEventKind
    sentence: str
    trouble: TroubleKind | None = None
    at_s: float = 0.0


class _Line:
    """One thread's life with one source object: what it is doing, since when, and whether it may go on."""

    def __init__(self, source: FrameSource, wait_s: float = 0.0) -> None:
        self.source = source
        self.wait_s = wait_s
        self.stop = threading.Event()
        # Read by the watchdog as one value: (what, since when, the longest it may take).
        self.doing: tuple[str, float, float] | None = None
        self.thread: threading.Thread | None = None


class Feed:
    """One thread that owns a source, and the newest frame it delivered.

    Parameters
    ----------
    source
        Opened, read and closed in the feed's thread only.
    stall_s
        A read that takes longer has stalled. A blocked thread is never interrupted: it is left behind, and a
        new one starts on a renewed source, if the source can be renewed.
    open_s
        An opening that takes longer has stalled.
    """

    def __init__(self, source: FrameSource, *, stall_s: float = STALL_S, open_s: float = OPEN_S) -> None:
        self._name = source.name
        self._stall_s = stall_s
        self._open_s = open_s
        self._changed = threading.Condition()
        self._events: deque[FeedEvent] = deque(maxlen=100)
        self._requests: deque[tuple[str, float | None, bool | None]] = deque()
        self._bursts: list[Burst] = []
        self._newest: Frame | None = None
        self._controls: tuple[Control, ...] = ()
        self._sequence = 0
        self._trouble: SourceTrouble | None = None
        self._delivering = False
        self._ever_connected = False
        self._ended = False
        self._stopped = False
        self._line = _Line(source)
        self._abandoned: list[_Line] = []

    @property
    def name(self) -> str:
        """The source's name."""
        return self._name

    @property
    def trouble(self) -> SourceTrouble | None:
        """What is wrong now, or None while pictures come or the source is being opened for the first time."""
        return self._trouble

    @property
    def delivering(self) -> bool:
        """Whether the last thing that happened was a new frame."""
        return self._delivering

    @property
    def ended(self) -> bool:
        """Whether the source said that nothing more will come."""
        return self._ended

    @property
    def controls(self) -> tuple[Control, ...]:
        """The source's knobs as they were when it was opened or last adjusted."""
        return self._controls

    def start(self) -> None:
        """Start the thread; returns at once."""
        if self._line.thread is None and not self._stopped:
            self._say(FeedEventKind.CONNECTING, f"Connecting to {self._name} …")
            self._launch(self._line)

    @property
    def running(self) -> bool:
        """Whether any thread of the feed is alive, and so may hold the device."""
        return any(
            line.thread is not None and line.thread.is_alive() for line in [self._line, *self._abandoned]
        )

    def ask_to_stop(self) -> None:
        """Ask the thread to end, without waiting; ``running`` tells when it has let go of the source."""
        self._stopped = True
        for line in [self._line, *self._abandoned]:
            line.stop.set()
        with self._changed:
            self._changed.notify_all()

    def stop(self, limit_s: float = 3.0) -> bool:
        """Ask the thread to end and wait for it; a stopped feed isn't started again.

        Parameters
        ----------
        limit_s
            Longest wait. A thread that is blocked in a driver is left behind.

        Returns
        -------
        bool
            Whether every thread of the feed has ended.
        """
        deadline = time.monotonic() + limit_s
        self.ask_to_stop()
        for line in [self._line, *self._abandoned]:
            if line.thread is not None:
                line.thread.join(max(0.0, deadline - time.monotonic()))
        return not self.running

    def newest(self) -> Frame | None:
        """Return the newest frame, or None before the first; it stays while the source is in trouble."""
        return self._newest

    def first_after(self, moment_s: float) -> Frame | None:
        """Return the newest frame if its read began at or after a monotonic time, else None; never waits."""
        frame = self._newest
        return frame if frame is not None and frame.began_s >= moment_s else None

    def wait_after(self, moment_s: float, timeout_s: float) -> Frame | None:
        """Wait for a frame whose read began at or after a monotonic time; not for a thread that draws.

        Returns
        -------
        Frame or None
            None if none came within ``timeout_s``, or the feed ended or was stopped.
        """
        deadline = time.monotonic() + timeout_s
        while True:
            self._watch()
            with self._changed:
                frame = self.first_after(moment_s)
                left_s = deadline - time.monotonic()
                if frame is not None or left_s <= 0 or self._ended or self._stopped:
                    return frame
                self._changed.wait(min(left_s, 0.25))

    def capture(self, count: int = 1, after_s: float | None = None) -> Burst:
        """Ask for the next ``count`` consecutive frames whose reads begin from now on.

        Parameters
        ----------
        count
            How many; 1 is a plain capture, more are for averaging.
        after_s
            Monotonic time to count from, such as that of a key press; None is now.

        Returns
        -------
        Burst
            Fills by itself; look at ``complete`` and ``frames`` from a timer.

        Raises
        ------
        ValueError
            ``count`` is less than 1.
        """
        if count < 1:
            raise ValueError(f"A capture takes at least 1 frame, not {count}.")
        burst = Burst(count, time.monotonic() if after_s is None else after_s)
        with self._changed:
            self._bursts.append(burst)
        return burst

    def cancel(self, burst: Burst) -> None:
        """Forget a capture that is no longer wanted; harmless on one that is complete."""
        with self._changed:
            if burst in self._bursts:
                self._bursts.remove(burst)

    def adjust(self, key: str, value: float | None = None, auto: bool | None = None) -> None:
        """Ask the feed's thread to turn a knob; a refusal arrives as an event."""
        self._requests.append((key, value, auto))

    def poll(self) -> tuple[FeedEvent, ...]:
        """Return what happened since the last call, oldest first, and notice a blocked read; never waits."""
        self._watch()
        events: list[FeedEvent] = []
        while self._events:
            events.append(self._events.popleft())
        return tuple(events)

    # -- the watchdog, in the caller's thread ----------------------------------------------------------------

    def _watch(self) -> None:
        with self._changed:
            line = self._line
            doing = line.doing
            if doing is None or self._stopped:
                return
            what, since_s, longest_s = doing
            if time.monotonic() - since_s <= longest_s:
                return
            self._report(
                line,
                SourceTrouble(
                    TroubleKind.STALLED,
                    f"{self._name} has not answered for {longest_s:.3g} s while {what}. "
                    "Check its cable and plug it in again; the picture comes back by itself.",
                ),
            )
            self._abandoned = [
                old for old in self._abandoned if old.thread is not None and old.thread.is_alive()
            ]
            if isinstance(line.source, Renewable) and len(self._abandoned) < _MOST_ABANDONED:
                line.stop.set()
                self._abandoned.append(line)
                self._line = _Line(line.source.renewed(), wait_s=_BACK_OFF_S[-1])
                self._launch(self._line)

    def _launch(self, line: _Line) -> None:
        # A daemon, because a thread that is blocked in a driver must not keep the program from ending.
        line.thread = threading.Thread(target=self._run, args=(line,), name=f"feed {self._name}", daemon=True)
        line.thread.start()

    # -- the thread ------------------------------------------------------------------------------------------

    def _run(self, line: _Line) -> None:
        tries = 0
        sound = False
        line.stop.wait(line.wait_s)
        try:
            while not line.stop.is_set():
                before = self._sequence
                try:
                    self._within(line, "opening it", self._open_s, line.source.open)
                    self._read_on(line)
                except SourceTrouble as trouble:
                    self._report(line, trouble)
                    if trouble.kind is TroubleKind.ENDED:
                        break
                finally:
                    line.source.close()
                tries = 0 if self._sequence > before else tries + 1
                line.stop.wait(_BACK_OFF_S[min(tries, len(_BACK_OFF_S) - 1)])
            sound = True
        finally:
            if not sound:
                # The traceback goes to threading.excepthook; nobody must be left with a frozen picture.
                self._report(
                    line,
                    SourceTrouble(
                        TroubleKind.UNREADABLE,
                        f"Reading {self._name} stopped because of a fault in this program. Choose the source "
                        "again; if the fault comes back, send the log to whoever looks after the program.",
                    ),
                )

    def _read_on(self, line: _Line) -> None:
        self._refresh_controls(line)
        while not line.stop.is_set():
            self._turn_knobs(line)
            began_s = time.monotonic()
            pixels = self._within(line, "waiting for a picture", self._stall_s, line.source.read)
            if isinstance(line.source, Telling):
                for sentence in line.source.news():
                    self._say(FeedEventKind.NOTICE, sentence)
            self._deliver(line, Frame(pixels, self._sequence, began_s, time.monotonic(), self._name))

    @staticmethod
    def _within(line: _Line, what: str, longest_s: float, call: Callable[[], _T]) -> _T:
        line.doing = (what, time.monotonic(), longest_s)
        try:
            return call()
        finally:
            line.doing = None

    def _deliver(self, line: _Line, frame: Frame) -> None:
        with self._changed:
            if line is not self._line or line.stop.is_set():
                return
            self._newest = frame
            self._sequence += 1
            self._bursts = [burst for burst in self._bursts if not burst.offer(frame)]
            # A frame is the only proof: a device that opens may still never deliver one.
            first, self._delivering = not self._delivering, True
            recovered, self._trouble = self._trouble is not None, None
            self._changed.notify_all()
        if first:
            kind = FeedEventKind.RECOVERED if recovered and self._ever_connected else FeedEventKind.CONNECTED
            self._ever_connected = True
            height, width = frame.pixels.shape[:2]
            again = " again" if kind is FeedEventKind.RECOVERED else ""
            self._say(kind, f"{self._name} delivers pictures{again}, {width} × {height} pixels.")

    def _report(self, line: _Line, trouble: SourceTrouble) -> None:
        with self._changed:
            if line is not self._line or line.stop.is_set():
                return
            known = self._trouble
            if known is not None and self._says_no_more(trouble.kind, known.kind):
                trouble = known
            self._trouble = trouble
            self._delivering = False
            self._ended = trouble.kind is TroubleKind.ENDED
            for burst in self._bursts:
                burst.start_over()
            self._changed.notify_all()
        if known is None or known.sentence != trouble.sentence:
            kind = FeedEventKind.ENDED if self._ended else FeedEventKind.TROUBLE
            self._say(kind, trouble.sentence, trouble.kind)

    def _says_no_more(self, kind: TroubleKind, known: TroubleKind) -> bool:
        """Whether a new trouble only follows from the one that was told already."""
        if kind is TroubleKind.MISSING:
            return known is TroubleKind.UNPLUGGED
        # A thread that was left behind still holds the device: it isn't another program that does.
        left_behind = any(line.thread is not None and line.thread.is_alive() for line in self._abandoned)
        return kind is TroubleKind.OCCUPIED and left_behind

    def _turn_knobs(self, line: _Line) -> None:
        turned = False
        while self._requests:
            key, value, auto = self._requests.popleft()
            if not isinstance(line.source, Adjustable):
                self._say(FeedEventKind.REFUSED, f"{self._name} has no knobs to turn.")
                continue
            try:
                line.source.adjust(key, value, auto)
                turned = True
            except SourceTrouble as refused:
                self._say(FeedEventKind.REFUSED, refused.sentence, refused.kind)
        if turned:
            self._refresh_controls(line)

    def _refresh_controls(self, line: _Line) -> None:
        if line is self._line:
            self._controls = line.source.controls() if isinstance(line.source, Adjustable) else ()

    def _say(self, kind: FeedEventKind, sentence: str, trouble: TroubleKind | None = None) -> None:
        self._events.append(FeedEvent(kind, sentence, trouble, time.monotonic()))
