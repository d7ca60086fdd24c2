"""What the benchmark notes inside of the window's process: paints, fits, CPU by thread, memory.

Three functions of the program are wrapped, and nothing of it is changed: the painting of a picture view, the
live fit, and the feed's newest frame, through which the window gets every frame.
"""

import gc
import os
import threading
import time
from collections import OrderedDict
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PySide6.QtGui import QPaintEvent

from workstation import bench
from workstation.frames import Feed
from workstation.values import Fit, Frame, NoFit
from workstation.window.picture_view import PictureView

NO_RINGS, UNKNOWN = -1, -2
"""In the place of a frame's number: no rings were painted; rings of a frame that nobody handed out."""
_REMEMBERED = 64
_TICK_S = 1 / os.sysconf("SC_CLK_TCK")


@dataclass
class Seen:
    """Everything that was noted while the clock ran; times are monotonic seconds.

    Attributes
    ----------
    paints
        One of each paint of the live picture: when, the frame's number, the number of the frame that the rings
        belong to (or ``NO_RINGS``, ``UNKNOWN``), the number of the newest frame that the feed had, and how old
        the painted frame was in seconds.
    first, last
        Numbers of the newest frame when the clock began and when it ended.
    cpu_s
        Processor time of the whole process, user and system.
    threads_s
        Processor time by thread.
    paint_s, fit_s
        Processor time within painting the live picture (the rest of the window's thread is timers, words and
        handing pixels to the screen) and within the fit.
    slowest_fit_s
        The fit that took longest by the clock, and the processor time that it used: a large difference means
        that it waited for a core.
    swept_s
        Each full sweep of Python's garbage collector, which stops every thread of Python: when it ended, and how
        long it took.
    waited_s
        For how long threads of the process were ready and had no core, where the system tells: other programs
        are at work.
    memory_mb
        Memory in use, every few seconds.
    load
        Load average when the clock began and when it ended.
    """

    began_s: float = 0.0
    ended_s: float = 0.0
    paints: list[tuple[float, int, int, int, float]] = field(default_factory=list)
    first: int = 0
    last: int = 0
    cpu_s: float = 0.0
    threads_s: dict[str, float] = field(default_factory=dict)
    paint_s: float = 0.0
    fit_s: float = 0.0
    slowest_fit_s: tuple[float, float] = (0.0, 0.0)
    swept_s: list[tuple[float, float]] = field(default_factory=list)
    waited_s: float | None = None
    memory_mb: list[float] = field(default_factory=list)
    load: tuple[float, float] = (0.0, 0.0)
    screen: str = ""
    view: tuple[int, int] = (0, 0)

    def as_row(self) -> dict[str, object]:
        """Return it as JSON can hold it."""
        return asdict(self)


class Watch:
    """Wraps the three functions; notes only between ``begin`` and ``end``."""

    def __init__(self) -> None:
        self.seen = Seen()
        self._noting = False
        self._view: PictureView | None = None
        self._feed: Feed | None = None
        self._lock = threading.Lock()
        # by id of the pixels; the pixels are kept, so that no other array gets the same id meanwhile
        self._frames: OrderedDict[int, Frame] = OrderedDict()
        self._fits: OrderedDict[int, tuple[Fit | NoFit, int]] = OrderedDict()
        self._cpu_s = 0.0
        self._threads_s: dict[str, float] = {}
        self._waited_s: float | None = None
        self._sweep_s = 0.0
        gc.callbacks.append(self._note_sweep)
        self._wrap_newest()
        self._wrap_fit()
        self._wrap_paint()

    def begin(self, view: PictureView, feed: Feed) -> None:
        """Start the clock for this view and feed."""
        self._view, self._feed = view, feed
        self.seen = Seen(began_s=time.monotonic(), first=_number(feed), view=(view.width(), view.height()))
        self._cpu_s, self._threads_s, self._waited_s = time.process_time(), _threads_s(), _waited_s()
        self.seen.load = (os.getloadavg()[0], 0.0)
        self.note_memory()
        self._noting = True

    def note_memory(self) -> None:
        """Note the memory in use now."""
        self.seen.memory_mb.append(_memory_mb())

    def end(self) -> Seen:
        """Stop the clock, and return what was noted."""
        assert self._feed is not None
        self._noting = False
        seen = self.seen
        seen.ended_s = time.monotonic()
        seen.cpu_s = time.process_time() - self._cpu_s
        now_s, waited_s = _threads_s(), _waited_s()
        seen.threads_s = {name: now_s[name] - self._threads_s.get(name, 0.0) for name in now_s}
        if waited_s is not None and self._waited_s is not None:
            seen.waited_s = waited_s - self._waited_s
        seen.last = _number(self._feed)
        seen.load = (seen.load[0], os.getloadavg()[0])
        self.note_memory()
        return seen

    def _note_sweep(self, phase: str, info: dict[str, int]) -> None:
        now_s = time.monotonic()
        if phase == "start":
            self._sweep_s = now_s
        elif self._noting and info["generation"] == 2:
            self.seen.swept_s.append((now_s, now_s - self._sweep_s))

    def _wrap_newest(self) -> None:
        newest = Feed.newest

        def noted(feed: Feed) -> Frame | None:
            frame = newest(feed)
            if frame is not None:
                with self._lock:
                    self._frames[id(frame.pixels)] = frame
                    while len(self._frames) > _REMEMBERED:
                        self._frames.popitem(last=False)
            return frame

        Feed.newest = noted  # type: ignore[method-assign, assignment]

    def _wrap_fit(self) -> None:
        live_fit = bench.live_fit

        def noted(pixels: NDArray[np.uint8], previous: Fit | NoFit | None = None) -> Fit | NoFit:
            began_s, clock_s = time.thread_time(), time.monotonic()
            found = live_fit(pixels, previous)
            spent_s, took_s = time.thread_time() - began_s, time.monotonic() - clock_s
            with self._lock:
                frame = self._frames.get(id(pixels))
                self._fits[id(found)] = found, UNKNOWN if frame is None else frame.sequence
                while len(self._fits) > _REMEMBERED:
                    self._fits.popitem(last=False)
            if self._noting:
                self.seen.fit_s += spent_s
                self.seen.slowest_fit_s = max(self.seen.slowest_fit_s, (took_s, spent_s))
            return found

        bench.live_fit = noted

    def _wrap_paint(self) -> None:
        paint = PictureView.paintEvent

        def noted(view: PictureView, event: QPaintEvent) -> None:
            began_s = time.thread_time()
            paint(view, event)
            if self._noting and view is self._view:
                self._note_paint(view)
                self.seen.paint_s += time.thread_time() - began_s

        PictureView.paintEvent = noted  # type: ignore[method-assign, assignment]

    def _note_paint(self, view: PictureView) -> None:
        now_s = time.monotonic()
        assert self._feed is not None
        with self._lock:
            frame = self._frames.get(id(view.pixels))
            overlay = view.overlay
            rings = NO_RINGS
            if overlay is not None and view.rings_shown and not view.sign:
                rings = self._fits.get(id(overlay.fit), (None, UNKNOWN))[1]
        if frame is not None:
            age_s = now_s - frame.taken_s
            self.seen.paints.append((now_s, frame.sequence, rings, _number(self._feed), age_s))


def _number(feed: Feed) -> int:
    frame = feed.newest()
    return -1 if frame is None else frame.sequence


def _threads_s() -> dict[str, float]:
    """Return the processor time of each thread; those that Python didn't start go by the system's name."""
    names = {thread.native_id: thread.name for thread in threading.enumerate()}
    names[os.getpid()] = "window"
    spent: dict[str, float] = {}
    for task in Path("/proc/self/task").iterdir():
        # the name in brackets may hold spaces; utime and stime are fields 14 and 15: proc(5)
        head, _, tail = (task / "stat").read_text().rpartition(")")
        fields = tail.split()
        name = names.get(int(task.name)) or head.partition("(")[2]
        spent[name] = spent.get(name, 0.0) + (int(fields[11]) + int(fields[12])) * _TICK_S
    return spent


def _waited_s() -> float | None:
    """Return how long the process's threads were ready to run without a core: the kernel's sched-stats."""
    try:
        texts = [(task / "schedstat").read_text() for task in Path("/proc/self/task").iterdir()]
    except FileNotFoundError:
        return None
    return sum(int(text.split()[1]) for text in texts) * 1e-9


def _memory_mb() -> float:
    status = Path("/proc/self/status").read_text()
    line = next(line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) / 1024
