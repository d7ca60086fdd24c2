"""What holds for every test: no thread outlives it."""

import threading
import time
from collections.abc import Iterator

import pytest


@pytest.fixture(autouse=True)
def no_thread_is_left_behind() -> Iterator[None]:
    before = set(threading.enumerate())
    yield
    deadline = time.monotonic() + 2.0
    left = [thread for thread in threading.enumerate() if thread not in before and _is_ours(thread)]
    for thread in left:
        thread.join(max(0.0, deadline - time.monotonic()))
    alive = [thread.name for thread in left if thread.is_alive()]
    assert not alive, f"threads that the test started and never ended: {alive}"


def _is_ours(thread: threading.Thread) -> bool:
    # Python can't see the end of a thread that Qt started; a progress bar's monitor lives as long as the
    # process.
    return not isinstance(thread, threading._DummyThread) and type(thread).__name__ != "TMonitor"
