"""Between plain values and what the database holds: readings and verdicts as JSON, rows as values."""

from pydantic import ConfigDict, RootModel

from workstation.ledger.models import LookRow, PortRow, SessionRow
from workstation.values import Feature, Form, Look, Port, Reading, Session, Verdict

# JSON knows no NaN and no infinity; a check's value may be one and must come back as it was.
_EXACT = ConfigDict(ser_json_inf_nan="strings")


class _StoredReading(RootModel[Reading]):
    model_config = _EXACT


class _StoredVerdict(RootModel[Verdict]):
    model_config = _EXACT


def reading_text(reading: Reading) -> str:
    """Return a reading as JSON that `reading_value` turns back into an equal reading."""
    return _StoredReading(reading).model_dump_json()


def reading_value(text: str) -> Reading:
    """Return the reading that `reading_text` wrote; anything else is a ValueError."""
    return _StoredReading.model_validate_json(text).root


def verdict_text(verdict: Verdict) -> str:
    """Return a verdict as JSON that `verdict_value` turns back into an equal verdict."""
    return _StoredVerdict(verdict).model_dump_json()


def verdict_value(text: str) -> Verdict:
    """Return the verdict that `verdict_text` wrote; anything else is a ValueError."""
    return _StoredVerdict.model_validate_json(text).root


def leading_feature(reading: Reading, verdict: Verdict) -> tuple[Feature, str] | None:
    """Return the feature that says most about a look, with its zone.

    Returns
    -------
    tuple of Feature and str, or None
        The largest feature that has a part in a broken rule, or else the largest one that is counted.
    """
    features = {feature.id: feature for feature in reading.features}
    for wanted in ([p for p in verdict.placed if p.breaks], [p for p in verdict.placed if p.counted]):
        found = [(features[place.feature_id], place.zone) for place in wanted if place.feature_id in features]
        if found:
            return max(found, key=lambda pair: (pair[0].size_um, -pair[0].id))
    return None


def largest_um(reading: Reading, form: Form) -> float | None:
    """Return the largest defect's size, or the widest scratch's width, in micrometres; None without any."""
    if form is Form.SCRATCH:
        return max((f.width_um for f in reading.features if f.form is form), default=None)
    return max((f.size_um for f in reading.features if f.form is form), default=None)


def session_value(row: SessionRow) -> Session:
    """Return a session's row as a value."""
    return Session(row.id, row.name, row.started, row.operator, row.scope, row.criteria_id, row.source_dark)


def port_value(row: PortRow) -> Port:
    """Return a port's row as a value."""
    return Port(row.id, row.session_id, row.label, row.position)


def look_value(row: LookRow, port: Port) -> Look:
    """Return a look's row as a value."""
    return Look(
        id=row.id,
        port=port,
        number=row.number,
        taken=row.taken,
        source=row.source,
        picture_sha256=row.picture_sha256,
        reading=reading_value(row.reading),
        verdict=verdict_value(row.verdict),
        seconds=row.seconds,
    )
