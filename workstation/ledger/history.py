"""The append-only history: every change is an entry that holds the SHA-256 of the entry before it.

An entry's hash is SHA-256 over the UTF-8 of the canonical JSON (keys sorted, no spaces, nothing escaped that
needn't be; after RFC 8785, whose number rules don't matter here because floats stand in the bodies as text)
of ``{"at", "body", "kind", "previous", "sequence", "session_id", "subject_id"}``. The first entry's
``previous`` is 64 zeros. Whoever changes an entry must change all that follow it; whoever keeps the newest
hash elsewhere, on paper say, can tell even that. The body of an entry about a row repeats the whole row (long
texts by their SHA-256), so that a change of the row shows as well. When a row is changed by right, an entry
of the same kind and subject tells of it anew; the newest one counts.
"""

import hashlib
import json
from collections.abc import Mapping
from datetime import datetime

from sqlalchemy import inspect, select
from sqlalchemy.orm import Session

from workstation.ledger.models import Base, HistoryRow, LookRow, time_text

FIRST_PREVIOUS = "0" * 64

BodyValue = str | int | None
Body = Mapping[str, BodyValue]


def canonical(values: Mapping[str, object]) -> str:
    """Return a mapping as canonical JSON text."""
    return json.dumps(values, ensure_ascii=False, sort_keys=True, separators=(",", ":"), allow_nan=False)


def entry_hash(row: HistoryRow) -> str:
    """Return the hash that an entry must have, as 64 hexadecimal digits."""
    text = canonical(
        {
            "sequence": row.sequence,
            "at": time_text(row.at),
            "kind": row.kind,
            "session_id": row.session_id,
            "subject_id": row.subject_id,
            "body": row.body,
            "previous": row.previous,
        }
    )
    return sha256_text(text)


def sha256_text(text: str) -> str:
    """Return the SHA-256 of a text's UTF-8 as 64 hexadecimal digits."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def append(
    session: Session, kind: str, at: datetime, body: Body, *, session_id: int | None, subject_id: int | None
) -> HistoryRow:
    """Add an entry to the end of the chain, in the transaction of the change that it tells of."""
    last = session.execute(
        select(HistoryRow.sequence, HistoryRow.hash).order_by(HistoryRow.sequence.desc()).limit(1)
    ).first()
    row = HistoryRow(
        sequence=1 if last is None else last.sequence + 1,
        at=at,
        kind=kind,
        session_id=session_id,
        subject_id=subject_id,
        body=canonical(body),
        previous=FIRST_PREVIOUS if last is None else last.hash,
    )
    row.hash = entry_hash(row)
    session.add(row)
    return row


def row_body(row: Base) -> dict[str, BodyValue]:
    """Return a row as the body of its history entry: every column, long texts by their SHA-256."""
    body: dict[str, BodyValue] = {}
    for name in inspect(type(row)).columns.keys():  # noqa: SIM118 - not a dict
        value = getattr(row, name)
        if isinstance(row, LookRow) and name in ("reading", "verdict"):
            body[f"{name}_sha256"] = sha256_text(value)
        elif isinstance(value, datetime):
            body[name] = time_text(value)
        elif isinstance(value, float):
            body[name] = repr(value)
        else:
            body[name] = value
    return body
