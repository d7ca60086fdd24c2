"""The feed, driven by sources that do what a script says."""

import threading
import time
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from numpy.typing import NDArray

from workstation.frames import Control, Feed, FeedEvent, FeedEventKind, SourceTrouble, TroubleKind

UNPLUGGED = SourceTrouble(TroubleKind.UNPLUGGED, "The scope was unplugged. Plug it in again.")
MISSING = SourceTrouble(TroubleKind.MISSING, "The scope isn't plugged in. Plug it in.")


class Script:
    """What a scripted source does next, and what was done to it; shared with its renewed copies."""

    def __init__(self) -> None:
        self.trouble: SourceTrouble | None = None
        self.open_trouble: SourceTrouble | None = None
        self.fault: Exception | None = None
        self.block = threading.Event()
        self.unblock = threading.Event()
        self.threads: set[int] = set()
        self.opened = self.closed = 0
        self.count = 0
        self.shape: tuple[int, ...] = (64, 80)


class ScriptedSource:
    def __init__(self, script: Script) -> None:
        self.script = script
        self.pace = threading.Event()

    @property
    def name(self) -> str:
        return "The scope"

    def open(self) -> None:
        self.script.threads.add(threading.get_ident())
        if self.script.open_trouble:
            raise self.script.open_trouble
        self.script.opened += 1

    def read(self) -> NDArray[np.uint8]:
        self.script.threads.add(threading.get_ident())
        if self.script.block.is_set():
            self.script.unblock.wait(20)
        self.pace.wait(0.005)
        if self.script.fault:
            raise self.script.fault
        if self.script.trouble:
            raise self.script.trouble
        self.script.count += 1
        return np.full(self.script.shape, self.script.count % 256, np.uint8)

    def close(self) -> None:
        self.script.threads.add(threading.get_ident())
        self.script.closed += 1


class RenewableSource(ScriptedSource):
    def renewed(self) -> "RenewableSource":
        self.script.block.clear()
        return RenewableSource(self.script)


class SourceWithKnob(ScriptedSource):
    gain = 3.0

    def controls(self) -> tuple[Control, ...]:
        return (Control("gain", "Gain", self.gain, 0, 10, 1),)

    def adjust(self, key: str, value: float | None = None, auto: bool | None = None) -> None:
        if key != "gain" or value is None:
            raise SourceTrouble(TroubleKind.UNREADABLE, f"The scope has no {key}.")
        self.gain = value

    def news(self) -> tuple[str, ...]:
        return ("Once.",) if self.script.count == 3 else ()


class Watcher:
    """Polls a feed as a window's timer would, and keeps what happened."""

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self.events: list[FeedEvent] = []

    def until(self, condition: Callable[[], object], limit_s: float = 8.0) -> None:
        deadline = time.monotonic() + limit_s
        tick = threading.Event()
        while time.monotonic() < deadline:
            self.events += self.feed.poll()
            if condition():
                return
            tick.wait(0.01)
        raise AssertionError(f"didn't happen within {limit_s} s; events: {self.events}")

    def until_said(self, kind: FeedEventKind, times: int = 1) -> FeedEvent:
        self.until(lambda: len(self.of(kind)) >= times)
        return self.of(kind)[times - 1]

    def of(self, kind: FeedEventKind) -> list[FeedEvent]:
        return [event for event in self.events if event.kind is kind]


@pytest.fixture
def script() -> Script:
    return Script()


@pytest.fixture
def start(script: Script) -> Iterator[Callable[..., Watcher]]:
    feeds = []

    def started(kind: type[ScriptedSource] = ScriptedSource, **limits: float) -> Watcher:
        feed = Feed(kind(script), **limits)
        feeds.append(feed)
        feed.start()
        return Watcher(feed)

    yield started
    script.unblock.set()
    stopped = [feed.stop() for feed in feeds]
    assert all(stopped)


def test_frames_are_numbered_and_stamped_in_order(script: Script, start: Callable[..., Watcher]) -> None:
    began_s = time.monotonic()
    watcher = start()
    watcher.until_said(FeedEventKind.CONNECTED)
    burst = watcher.feed.capture(6)
    watcher.until(lambda: burst.complete)
    numbers = [frame.sequence for frame in burst.frames]
    assert numbers == list(range(numbers[0], numbers[0] + 6))
    for frame, later in zip(burst.frames, burst.frames[1:], strict=False):
        assert began_s < frame.began_s < frame.taken_s <= later.began_s
        assert frame.source == "The scope"
    assert [event.kind for event in watcher.events[:2]] == [FeedEventKind.CONNECTING, FeedEventKind.CONNECTED]


def test_the_source_is_touched_by_one_thread_which_is_not_the_callers(
    script: Script, start: Callable[..., Watcher]
) -> None:
    watcher = start()
    watcher.until_said(FeedEventKind.CONNECTED)
    script.trouble = UNPLUGGED
    watcher.until_said(FeedEventKind.TROUBLE)
    script.trouble = None
    watcher.until_said(FeedEventKind.RECOVERED)
    assert watcher.feed.stop()
    assert len(script.threads) == 1
    assert threading.get_ident() not in script.threads
    assert script.closed >= script.opened


def test_a_capture_takes_the_first_frame_whose_read_began_after_the_key(
    script: Script, start: Callable[..., Watcher]
) -> None:
    watcher = start()
    watcher.until_said(FeedEventKind.CONNECTED)
    pressed_s = time.monotonic()
    burst = watcher.feed.capture(1, after_s=pressed_s)
    assert not burst.complete
    watcher.until(lambda: burst.complete)
    assert burst.frames[0].began_s >= pressed_s
    assert watcher.feed.first_after(time.monotonic() + 100) is None


def test_the_blocking_wait_returns_a_later_frame_or_gives_up(
    script: Script, start: Callable[..., Watcher]
) -> None:
    feed = start().feed
    now_s = time.monotonic()
    frame = feed.wait_after(now_s, 5.0)
    assert frame is not None
    assert frame.began_s >= now_s
    assert feed.wait_after(time.monotonic() + 100, 0.05) is None


def test_unplugging_is_told_once_and_the_picture_comes_back_by_itself(
    script: Script, start: Callable[..., Watcher]
) -> None:
    watcher = start()
    watcher.until_said(FeedEventKind.CONNECTED)
    last = watcher.feed.newest()
    script.open_trouble = MISSING
    script.trouble = UNPLUGGED
    event = watcher.until_said(FeedEventKind.TROUBLE)
    assert event.trouble is TroubleKind.UNPLUGGED
    assert event.sentence == UNPLUGGED.sentence
    closed = script.closed
    watcher.until(lambda: script.closed > closed + 1)  # it has tried again, in vain
    assert not watcher.feed.delivering
    assert watcher.feed.trouble is not None
    assert watcher.feed.newest() is not None
    script.open_trouble = script.trouble = None
    watcher.until_said(FeedEventKind.RECOVERED)
    assert watcher.feed.delivering
    assert watcher.feed.trouble is None
    assert len(watcher.of(FeedEventKind.TROUBLE)) == 1
    newest = watcher.feed.newest()
    assert newest is not None
    assert last is not None
    assert newest.sequence > last.sequence


def test_opening_alone_is_no_proof_of_a_working_camera(script: Script, start: Callable[..., Watcher]) -> None:
    script.trouble = SourceTrouble(TroubleKind.STALLED, "No picture comes.")
    watcher = start()
    watcher.until_said(FeedEventKind.TROUBLE)
    watcher.until(lambda: script.opened >= 2)
    assert not watcher.of(FeedEventKind.CONNECTED)
    assert not watcher.of(FeedEventKind.RECOVERED)


def test_a_blocked_read_is_told_and_replaced(script: Script, start: Callable[..., Watcher]) -> None:
    watcher = start(RenewableSource, stall_s=0.2)
    watcher.until_said(FeedEventKind.CONNECTED)
    script.block.set()
    event = watcher.until_said(FeedEventKind.TROUBLE)
    assert event.trouble is TroubleKind.STALLED
    watcher.until_said(FeedEventKind.RECOVERED)
    assert len(script.threads) == 2
    sequence = watcher.feed.newest()
    assert sequence is not None
    script.unblock.set()  # the thread that was left behind comes back, and must not deliver
    assert watcher.feed.stop()


def test_a_blocked_read_of_a_source_without_a_copy_goes_on_when_it_returns(
    script: Script, start: Callable[..., Watcher]
) -> None:
    watcher = start(stall_s=0.2)
    watcher.until_said(FeedEventKind.CONNECTED)
    script.block.set()
    watcher.until_said(FeedEventKind.TROUBLE)
    script.block.clear()
    script.unblock.set()
    watcher.until_said(FeedEventKind.RECOVERED)
    assert len(script.threads) == 1


def test_stopping_does_not_wait_for_a_blocked_driver(script: Script, start: Callable[..., Watcher]) -> None:
    watcher = start()
    watcher.until_said(FeedEventKind.CONNECTED)
    script.block.set()
    began_s = time.monotonic()
    watcher.feed.stop(limit_s=0.1)
    assert time.monotonic() - began_s < 1.0


def test_an_ended_source_says_so_and_is_not_opened_again(
    script: Script, start: Callable[..., Watcher]
) -> None:
    script.trouble = SourceTrouble(TroubleKind.ENDED, "The video has ended.")
    watcher = start()
    watcher.until_said(FeedEventKind.ENDED)
    assert watcher.feed.ended
    assert watcher.feed.wait_after(0, 5.0) is None
    assert script.opened == 1


def test_a_burst_starts_over_when_frames_are_lost_or_change_size(
    script: Script, start: Callable[..., Watcher]
) -> None:
    watcher = start()
    watcher.until_said(FeedEventKind.CONNECTED)
    burst = watcher.feed.capture(400)
    watcher.until(lambda: burst.progress > 3)
    script.trouble = UNPLUGGED
    watcher.until_said(FeedEventKind.TROUBLE)
    assert burst.progress == 0
    script.trouble = None
    watcher.until(lambda: burst.progress > 3)
    script.shape = (70, 90, 3)
    watcher.until(lambda: burst.progress in (1, 2))
    watcher.feed.cancel(burst)
    before = burst.progress
    count = script.count
    watcher.until(lambda: script.count > count + 5)
    assert burst.progress <= before + 1
    assert not burst.complete


def test_a_burst_of_none_is_refused(script: Script) -> None:
    with pytest.raises(ValueError, match="at least 1"):
        Feed(ScriptedSource(script)).capture(0)


def test_knobs_are_turned_in_the_feeds_thread_and_refusals_are_told(
    script: Script, start: Callable[..., Watcher]
) -> None:
    watcher = start(SourceWithKnob)
    watcher.until_said(FeedEventKind.CONNECTED)
    assert watcher.feed.controls[0].value == 3
    watcher.feed.adjust("gain", 7)
    watcher.until(lambda: watcher.feed.controls[0].value == 7)
    watcher.feed.adjust("focus", 1)
    assert "no focus" in watcher.until_said(FeedEventKind.REFUSED).sentence
    assert watcher.feed.delivering
    assert watcher.until_said(FeedEventKind.NOTICE).sentence == "Once."


def test_a_source_without_knobs_refuses(script: Script, start: Callable[..., Watcher]) -> None:
    watcher = start()
    watcher.feed.adjust("gain", 7)
    watcher.until_said(FeedEventKind.REFUSED)
    assert watcher.feed.controls == ()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_of_the_program_is_told_instead_of_a_frozen_picture(
    script: Script, start: Callable[..., Watcher]
) -> None:
    watcher = start()
    watcher.until_said(FeedEventKind.CONNECTED)
    script.fault = ZeroDivisionError("a fault")
    event = watcher.until_said(FeedEventKind.TROUBLE)
    assert "fault in this program" in event.sentence
    assert not watcher.feed.delivering


def test_a_feed_that_never_started_can_be_stopped(script: Script) -> None:
    feed = Feed(ScriptedSource(script))
    assert feed.stop()
    feed.start()
    assert script.opened == 0
