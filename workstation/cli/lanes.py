"""Several pieces of work at once, one process a lane, results in the order of the pieces.

Each lane is a pool of one worker with one piece at a time: should a worker die, as when the system runs out
of memory and ends it, it is known which piece it had, and only that lane begins anew.
"""

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from typing import TypeVar

Piece = TypeVar("Piece")
Result = TypeVar("Result")

AHEAD = 8
"""How many pieces a lane may be ahead of the one whose result is due; bounds what waits."""

_WAKE_UP_S = 0.5  # on Windows a wait without end can't be ended by Ctrl+C


def in_order(
    pieces: Sequence[Piece],
    work: Callable[[Piece], Result],
    lost: Callable[[Piece], Result],
    jobs: int,
) -> Iterator[Result]:
    """Do pieces of work and give their results in order, each as soon as its turn comes.

    Parameters
    ----------
    pieces
        What is to be done.
    work
        Does one piece; must be picklable where there are several jobs.
    lost
        Gives the result of a piece whose worker died.
    jobs
        How many pieces at once. With one, everything happens in this process.

    Yields
    ------
    Result
        One for each piece.
    """
    jobs = min(jobs, len(pieces))
    if jobs <= 1:
        yield from map(work, pieces)
        return
    lanes = [_Lane() for _ in range(jobs)]
    running: dict[Future[Result], tuple[int, _Lane]] = {}
    done: dict[int, Result] = {}
    idle = lanes[::-1]
    begun = 0
    try:
        for due in range(len(pieces)):
            while due not in done:
                while idle and begun < min(len(pieces), due + AHEAD * jobs):
                    lane = idle.pop()
                    running[lane.begin(work, pieces[begun])] = (begun, lane)
                    begun += 1
                finished, _ = wait(running, timeout=_WAKE_UP_S, return_when=FIRST_COMPLETED)
                for future in finished:
                    number, lane = running.pop(future)
                    idle.append(lane)
                    try:
                        done[number] = future.result()
                    except BrokenProcessPool:
                        done[number] = lost(pieces[number])
            yield done.pop(due)
    finally:
        for lane in lanes:
            lane.stop()
        for lane in lanes:
            lane.end()


class _Lane:
    """One worker process, replaced when it dies."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None

    def begin(self, work: Callable[[Piece], Result], piece: Piece) -> Future[Result]:
        if self._pool is not None:
            try:
                return self._pool.submit(work, piece)
            except BrokenProcessPool:  # the worker died, with the piece before or idle
                self.end()
        # Spawned everywhere, and never forked: a fork copies a process whose libraries have threads.
        context = multiprocessing.get_context("spawn")
        self._pool = ProcessPoolExecutor(1, mp_context=context, initializer=_begin_worker)
        with _deaf_to_ctrl_c():
            return self._pool.submit(work, piece)

    def stop(self) -> None:
        """Begin nothing more."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)

    def end(self) -> None:
        """Wait until the worker has ended."""
        if self._pool is not None:
            self._pool.shutdown(wait=True)


def _begin_worker() -> None:
    from workstation.opencv_setup import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C reaches all of them; the parent alone decides
    cv2.setNumThreads(1)  # the lanes are the parallelism
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


@contextlib.contextmanager
def _deaf_to_ctrl_c() -> Iterator[None]:
    """Let a worker that starts inside be deaf to Ctrl+C from its first moment, as it inherits that."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
