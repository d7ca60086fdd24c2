"""Things that happened in a session and that somebody may ask about later; they live in the history."""

import json
from dataclasses import dataclass
from datetime import datetime

from workstation.ledger.models import HistoryRow


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened in a session.

    Attributes
    ----------
    number
        Place in the ledger's history.
    session_id
        The session.
    at
        When, in UTC.
    what, who, how
        What happened, such as ``"caution acknowledged"``; who did it; how, or empty.
    """

    number: int
    session_id: int
    at: datetime
    what: str
    who: str
    how: str


def event_body(what: str, who: str, how: str) -> dict[str, str | int | None]:
    """Return what the history entry of an event holds."""
    return {"what": what, "who": who, "how": how}


def event_value(row: HistoryRow) -> Event:
    """Return a history entry of an event as a value; ValueError when it belongs to no session."""
    if row.session_id is None:
        raise ValueError("an event belongs to a session")
    body = json.loads(row.body)
    return Event(row.sequence, row.session_id, row.at, body["what"], body["who"], body["how"])
