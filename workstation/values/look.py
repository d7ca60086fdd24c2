"""What the ledger keeps: sessions, ports and looks."""

from dataclasses import dataclass
from datetime import datetime

from workstation.values.reading import Reading
from workstation.values.verdict import Verdict


@dataclass(frozen=True, slots=True)
class Session:
    """One sitting at the bench: who, when, which scope, which criteria; times are in UTC.

    ``source_dark`` says how the person made sure that the fibres carry no light, or is empty.
    """

    id: int
    name: str
    started: datetime
    operator: str
    scope: str
    criteria_id: str
    source_dark: str = ""


@dataclass(frozen=True, slots=True)
class Port:
    """One port of a session: its label exactly as it was given, and its place in the list from 0."""

    id: int
    session_id: int
    label: str
    position: int


@dataclass(frozen=True, slots=True)
class Look:
    """One captured picture of a port with its reading and verdict.

    Attributes
    ----------
    number
        1 for the first look of the port, then 2, 3 …
    taken
        When, in UTC.
    source
        The name of the frame source.
    picture_sha256
        SHA-256 of the stored picture file, as hexadecimal.
    seconds
        Time spent measuring and grading.
    """

    id: int
    port: Port
    number: int
    taken: datetime
    source: str
    picture_sha256: str
    reading: Reading
    verdict: Verdict
    seconds: float
