"""A session as CSV: one row a look, by the ports' order.

RFC 4180: commas, CRLF, quotes doubled; every text is quoted, numbers are not. UTF-8 with a byte order mark,
because spreadsheet programs otherwise read the file in the computer's old local character set and spoil "µ"
and every name; read it back with Python's ``utf-8-sig``. Units stand in the header. An unknown number is an
empty cell.
"""

import csv
import math
import os
import re
import secrets
from pathlib import Path

from workstation.ledger import Ledger, LedgerError
from workstation.values import Feature, Fit, Form, Look, Session, ZoneResult

_ZONES = "ABCD"
_JOIN = " | "

_ZONE_COLUMNS = (
    "inner_diameter_um",
    "outer_diameter_um",
    "seen_fraction",
    "scratches",
    "defects",
    "broken_rules",
)
HEADER: tuple[str, ...] = (
    *("session", "session_started_utc", "operator", "scope", "source_dark"),
    *("port", "look", "taken_utc", "frame_source"),
    *("verdict", "reasons", "next_step", "cleaning_may_help"),
    *("criteria", "criteria_title", "criteria_edition", "criteria_provenance", "criteria_unverified"),
    *(f"zone_{letter.lower()}_{name}" for letter in _ZONES for name in _ZONE_COLUMNS),
    *("defects", "largest_defect_um", "largest_defect_error_um", "largest_defect_cause_guess"),
    *("scratches", "widest_scratch_um", "widest_scratch_error_um"),
    *("um_per_px", "scale_source", "cladding_diameter_px", "no_fit_reason"),
    *("blur_um", "smallest_visible_um", "narrowest_scratch_visible_um", "frames_averaged"),
    *("checks_not_met", "occlusion_weighted_fraction", "occlusion_loss_db", "seconds", "picture_sha256"),
)
"""The columns, in order."""

Cell = str | int | float | None

# OWASP, "CSV Injection": a cell that begins with one of = + - @, tab, carriage return or line feed, or with a
# full-width form of those signs, may be run as a formula; and where the reader takes another separator, or
# quotes as text, a cell may begin in the middle of ours. So the same holds after separators, and spaces,
# quotes and invisible marks before the sign don't hide it.
_SIGNS = "=+\\-@＝＋－＠﹢﹣﹦﹫−"
_INVISIBLE = "\\s\"'\u00ad\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff"
_AT_START = re.compile(f"^(?:[\t\r\n]|[{_INVISIBLE}]*[{_SIGNS}]|')")
_AFTER_SEPARATOR = re.compile(f"([,;|\t\r\n])([{_INVISIBLE}]*)(?=[{_SIGNS}])")


def neutral(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    An apostrophe is put before whatever could start one, at the start and after separators. A text that
    starts with an apostrophe gets another, so that no two texts become the same at their start.

    References
    ----------
    OWASP Foundation, "CSV Injection", https://owasp.org/www-community/attacks/CSV_Injection
    """
    inner = _AFTER_SEPARATOR.sub(r"\1\2'", text)
    return f"'{inner}" if _AT_START.match(text) else inner


def export_csv(ledger: Ledger, session_id: int, path: str | Path) -> int:
    """Write a session's looks to a CSV file, which appears whole or not at all.

    Parameters
    ----------
    ledger
        The ledger.
    session_id
        The session.
    path
        The file; one that is there is replaced.

    Returns
    -------
    int
        Number of looks written.

    Raises
    ------
    LedgerError
        There is no such session, or the file can't be written. A file that was there before is as it was.
    """
    path = Path(path)
    session = ledger.session(session_id)
    aside = path.with_name(f"{secrets.token_hex(8)}.part")
    count = 0
    try:
        try:
            with aside.open("x", encoding="utf-8-sig", newline="") as file:
                writer = csv.writer(file, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
                writer.writerow(HEADER)
                for look in ledger.each_look(session_id):
                    cells = look_row(session, look)
                    writer.writerow([_safe(cells[name]) for name in HEADER])
                    count += 1
                file.flush()
                os.fsync(file.fileno())
            aside.replace(path)
        except BaseException:
            aside.unlink(missing_ok=True)
            raise
    except OSError as error:
        todo = "Check that you may write there, that the disk has room and no other program holds the file."
        what = f"The CSV file can't be written: {error.strerror or error}."
        raise LedgerError(what, path, todo) from error
    return count


def look_row(session: Session, look: Look) -> dict[str, Cell]:
    """Return one look as the cells of its row, by the header's names; texts not yet made safe."""
    reading, verdict, weight = look.reading, look.verdict, look.reading.occlusion
    row: dict[str, Cell] = {
        "session": session.name,
        "session_started_utc": _time(session.started.isoformat(timespec="milliseconds")),
        "operator": session.operator,
        "scope": session.scope,
        "source_dark": session.source_dark,
        "port": look.port.label,
        "look": look.number,
        "taken_utc": _time(look.taken.isoformat(timespec="milliseconds")),
        "frame_source": look.source,
        "verdict": verdict.outcome.value,
        "reasons": _JOIN.join(verdict.reasons),
        "next_step": verdict.next_step,
        "cleaning_may_help": _yes(verdict.cleaning_may_help),
        "criteria": verdict.criteria.id,
        "criteria_title": verdict.criteria.title,
        "criteria_edition": verdict.criteria.source,
        "criteria_provenance": verdict.criteria.provenance,
        "criteria_unverified": _yes(verdict.criteria.unverified),
    }
    zones = {zone.zone: zone for zone in verdict.zones}
    for letter in _ZONES:
        row |= _zone_cells(letter, zones.get(letter))
    row |= _feature_cells(reading.features)
    row |= _fit_cells(look)
    row |= {
        "checks_not_met": _JOIN.join(check.name for check in verdict.checks if not check.ok),
        "occlusion_weighted_fraction": None if weight is None else _number(weight.weighted_fraction, 6),
        "occlusion_loss_db": None if weight is None else _number(weight.loss_db, 6),
        "seconds": _number(look.seconds, 4),
        "picture_sha256": look.picture_sha256,
    }
    return row


def _zone_cells(letter: str, zone: ZoneResult | None) -> dict[str, Cell]:
    start = f"zone_{letter.lower()}"
    return {
        f"{start}_inner_diameter_um": None if zone is None else _number(zone.inner_um, 3),
        f"{start}_outer_diameter_um": None if zone is None else _number(zone.outer_um, 3),
        f"{start}_seen_fraction": None if zone is None else _number(zone.seen, 6),
        f"{start}_scratches": None if zone is None else zone.scratches,
        f"{start}_defects": None if zone is None else zone.defects,
        f"{start}_broken_rules": None if zone is None else _JOIN.join(zone.broken),
    }


def _feature_cells(features: tuple[Feature, ...]) -> dict[str, Cell]:
    defects = [feature for feature in features if feature.form is Form.DEFECT]
    scratches = [feature for feature in features if feature.form is Form.SCRATCH]
    largest = max(defects, key=lambda feature: feature.size_um, default=None)
    widest = max(scratches, key=lambda feature: feature.width_um, default=None)
    return {
        "defects": len(defects),
        "largest_defect_um": None if largest is None else _number(largest.size_um, 3),
        "largest_defect_error_um": None if largest is None else _number(largest.size_error_um, 3),
        "largest_defect_cause_guess": None if largest is None else largest.cause.value,
        "scratches": len(scratches),
        "widest_scratch_um": None if widest is None else _number(widest.width_um, 3),
        "widest_scratch_error_um": None if widest is None else _number(widest.width_error_um, 3),
    }


def _fit_cells(look: Look) -> dict[str, Cell]:
    fit = look.reading.fit if isinstance(look.reading.fit, Fit) else None
    readiness = look.reading.readiness
    return {
        "um_per_px": None if fit is None else _number(fit.um_per_px, 6),
        "scale_source": None if fit is None else fit.scale_source.value,
        "cladding_diameter_px": None if fit is None else _number(fit.cladding_diameter_px, 3),
        "no_fit_reason": look.reading.fit.reason.value if not isinstance(look.reading.fit, Fit) else None,
        "blur_um": _number(readiness.blur_um, 3),
        "smallest_visible_um": _number(readiness.smallest_visible_um, 3),
        "narrowest_scratch_visible_um": _number(readiness.narrowest_scratch_um, 3),
        "frames_averaged": look.reading.frames_averaged,
    }


def _safe(cell: Cell) -> Cell:
    # Numbers stay numbers: a negative one is no formula.
    return neutral(cell) if isinstance(cell, str) else cell


def _number(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(float(value), digits) + 0.0


def _yes(value: bool) -> str:
    return "yes" if value else "no"


def _time(text: str) -> str:
    return text.replace("+00:00", "Z")
