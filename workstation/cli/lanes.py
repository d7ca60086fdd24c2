"""Several pictures at once, one process a lane, records in the order of the pictures.

Each lane is a pool of one worker with one picture at a time: should a worker die, as when the system runs out
of memory and ends it, it is known which picture it had, and only that lane begins anew.
"""

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool

from workstation.cli.one_picture import Line, Settings, Task, line_of, unread

AHEAD = 8
"""How many pictures a lane may be ahead of the one whose record is written next; bounds what waits."""

_WAKE_UP_S = 0.5  # on Windows a wait without end can't be ended by Ctrl+C


def lines_in_order(tasks: Sequence[Task], settings: Settings, jobs: int) -> Iterator[Line]:
    """Grade pictures and give their records in the order of the pictures, each as soon as its turn comes.

    Parameters
    ----------
    tasks
        The pictures.
    settings
        How to grade them.
    jobs
        How many pictures at once. With one, everything happens in this process.

    Yields
    ------
    Line
        One for each task. A worker that died gives its picture a record that says so.
    """
    jobs = min(jobs, len(tasks))
    if jobs <= 1:
        yield from (line_of(task, settings) for task in tasks)
        return
    lanes = [_lane() for _ in range(jobs)]
    try:
        yield from _interleaved(tasks, settings, lanes)
    finally:
        for lane in lanes:
            lane.shutdown(wait=False, cancel_futures=True)
        for lane in lanes:
            lane.shutdown(wait=True)


def _interleaved(
    tasks: Sequence[Task], settings: Settings, lanes: list[ProcessPoolExecutor]
) -> Iterator[Line]:
    running: dict[Future[Line], tuple[int, int]] = {}  # to the numbers of picture and lane
    done: dict[int, Line] = {}
    idle = list(reversed(range(len(lanes))))
    begun = 0
    for due in range(len(tasks)):
        while due not in done:
            while idle and begun < min(len(tasks), due + AHEAD * len(lanes)):
                lane = idle.pop()
                running[_submit(lanes, lane, tasks[begun], settings)] = (begun, lane)
                begun += 1
            finished, _ = wait(running, timeout=_WAKE_UP_S, return_when=FIRST_COMPLETED)
            for future in finished:
                number, lane = running.pop(future)
                done[number] = _result(future, tasks[number])
                idle.append(lane)
        yield done.pop(due)


def _submit(lanes: list[ProcessPoolExecutor], lane: int, task: Task, settings: Settings) -> Future[Line]:
    with _ctrl_c_stays_here():
        try:
            return lanes[lane].submit(line_of, task, settings)
        except BrokenProcessPool:  # its worker died, with the picture before or idle
            lanes[lane].shutdown(wait=True)
            lanes[lane] = _lane()
            return lanes[lane].submit(line_of, task, settings)


def _result(future: Future[Line], task: Task) -> Line:
    try:
        return future.result()
    except BrokenProcessPool:
        return unread(
            task,
            f"The process that graded {task.path} ended before it was done; the system may have run out of "
            "memory. Grade this picture again by itself, or with fewer jobs.",
        )


def _lane() -> ProcessPoolExecutor:
    # Spawned everywhere, and not forked: a fork copies a process whose libraries have threads.
    return ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"), initializer=_begin_worker)


def _begin_worker() -> None:
    from workstation.opencv_setup import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C reaches all; the parent alone decides
    cv2.setNumThreads(1)  # the lanes are the parallelism
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


@contextlib.contextmanager
def _ctrl_c_stays_here() -> Iterator[None]:
    """Let a worker that starts inside be deaf to Ctrl+C from its first moment, as it inherits that."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
