"""Work off the window's thread, by one helper.

A job goes in as a function; its result or its exception comes back on the window's thread. The threads are
the standard library's; they emit no signals, a timer of the window looks for finished jobs instead: signals
from threads that Qt did not start have crashed PySide6 (pymmcore-widgets#454).
"""

from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

from PySide6.QtCore import QObject, Qt, QTimer

T = TypeVar("T")

LOOK_EVERY_MS = 6
"""How often finished jobs are looked for while any is under way."""


class Jobs(QObject):
    """A few threads that work in the order of asking.

    Parameters
    ----------
    name
        Name of the threads, for a debugger.
    threads
        How many jobs may run at the same time.
    parent
        Owner of the timer.
    """

    def __init__(self, name: str, threads: int = 1, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(threads, thread_name_prefix=name)
        self._open: list[tuple[Future[Any], Callable[[Any], None], Callable[[BaseException], None]]] = []
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.setInterval(LOOK_EVERY_MS)
        self._timer.timeout.connect(self._collect)

    @property
    def busy(self) -> bool:
        """Whether any job has not been delivered yet."""
        return bool(self._open)

    def start(
        self,
        work: Callable[[], T],
        done: Callable[[T], None],
        failed: Callable[[BaseException], None],
    ) -> None:
        """Run ``work`` in a thread, then call ``done`` with its result or ``failed`` with its exception.

        Both are called on the thread of this object, and neither is called once ``close`` was.
        """
        self._open.append((self._pool.submit(work), done, failed))
        if not self._timer.isActive():
            self._timer.start()

    def close(self) -> None:
        """Drop what has not begun, wait for what has, and deliver nothing more."""
        self._timer.stop()
        self._open.clear()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _collect(self) -> None:
        for entry in [entry for entry in self._open if entry[0].done()]:
            if entry not in self._open:  # an earlier delivery of this round closed us
                return
            self._open.remove(entry)
            future, done, failed = entry
            trouble = future.exception()
            if trouble is None:
                done(future.result())
            else:
                failed(trouble)
        if not self._open:
            self._timer.stop()
