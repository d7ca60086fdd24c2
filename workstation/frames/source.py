"""What every source of pictures looks like to the feed, and how it says that something is wrong."""

from dataclasses import dataclass
from enum import Enum
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray


class TroubleKind(Enum):
    """What is wrong with a source."""

    MISSING = "missing"
    UNPLUGGED = "unplugged"
    OCCUPIED = "occupied"
    STALLED = "stalled"
    PERMISSION = "permission"
    UNREADABLE = "unreadable"
    ENDED = "ended"


class SourceTrouble(Exception):
    """A source can't deliver a picture now.

    Parameters
    ----------
    kind
        What is wrong, for the program.
    sentence
        What happened, where, and what to do, for a person.
    """

    def __init__(self, kind: TroubleKind, sentence: str) -> None:
        super().__init__(sentence)
        self.kind = kind
        self.sentence = sentence


@runtime_checkable
class FrameSource(Protocol):
    """Where pictures come from. One thread opens, reads and closes it; no two of its members run at once."""

    @property
    def name(self) -> str:
        """Name for a person to read; may be asked for from any thread."""

    def open(self) -> None:
        """Make the source ready to read, also after it was closed.

        Raises
        ------
        SourceTrouble
            It can't be opened now; it may be tried again.
        """

    def read(self) -> NDArray[np.uint8]:
        """Wait for the next picture at the source's own pace and return it.

        Returns
        -------
        NDArray[np.uint8]
            Shape (height, width) for grey or (height, width, 3) in blue-green-red order; the source never
            writes to it again.

        Raises
        ------
        SourceTrouble
            No picture came. The source must be closed and opened again before the next read.
        """

    def close(self) -> None:
        """Let go of everything; harmless on a source that isn't open."""


@dataclass(frozen=True, slots=True)
class Control:
    """One knob of a source.

    Attributes
    ----------
    key
        Short name by which it is adjusted: ``exposure``, ``gain``, ``focus``.
    label
        Name for a person to read.
    value, minimum, maximum, step
        In the unit below; ``step`` is at least 1.
    unit
        "ms" for a time; empty where the device counts in steps of its own.
    auto
        Whether the device sets it by itself now; None where it has no such mode.
    """

    key: str
    label: str
    value: float
    minimum: float
    maximum: float
    step: float
    unit: str = ""
    auto: bool | None = None


@runtime_checkable
class Adjustable(Protocol):
    """A source with knobs; both members are called while it is open, in the thread that reads."""

    def controls(self) -> tuple[Control, ...]:
        """Return the knobs that the device has, with their present values."""

    def adjust(self, key: str, value: float | None = None, auto: bool | None = None) -> None:
        """Turn a knob, switch its automatic mode, or both.

        Raises
        ------
        SourceTrouble
            The device has no such knob or refused the value.
        """


@runtime_checkable
class Telling(Protocol):
    """A source that has things to tell while pictures go on: a file it passed over, a size it didn't get."""

    def news(self) -> tuple[str, ...]:
        """Return the sentences since the last call; called in the thread that reads."""


@runtime_checkable
class Renewable(Protocol):
    """A source whose read may block for good, and which can then be replaced by an equal one."""

    def renewed(self) -> FrameSource:
        """Return a new, closed source for the same pictures, that shares nothing with this one."""
