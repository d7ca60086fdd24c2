"""The grading record: one picture's reading and verdict as plain JSON values.

Its fields are described, and proved in the tests, by ``resources/schemas/grading-record-1.json``. Numbers are
rounded to what they can mean, so that the same picture gives the same record on any machine; a number that
JSON can't hold never gets in.
"""

import json
import math
from collections.abc import Iterable

from workstation.values import Check, Feature, Fit, Placed, Reading, Verdict, ZoneResult

SCHEMA = "grading-record-1"
"""Names the version of the record's fields."""

Json = dict[str, "Json"] | list["Json"] | str | int | float | bool | None

LENGTH_DIGITS = 3
FRACTION_DIGITS = 6
SECONDS_DIGITS = 4


def record(image: str, reading: Reading, verdict: Verdict, seconds: float) -> dict[str, Json]:
    """Return the record of one graded picture.

    Parameters
    ----------
    image
        The path as it was given.
    reading, verdict
        What was found, and what the criteria say.
    seconds
        Time spent measuring and grading, without reading the file.

    Returns
    -------
    dict
        Ready for `record_line`.

    Raises
    ------
    ValueError
        A number that must be finite isn't; the message names its field.
    """
    return {
        "schema": SCHEMA,
        "image": image,
        "verdict": verdict.outcome.value,
        "reasons": list(verdict.reasons),
        "criteria": {
            "id": verdict.criteria.id,
            "title": verdict.criteria.title,
            "source": verdict.criteria.source,
            "provenance": verdict.criteria.provenance,
        },
        "fit": _fit(reading.fit) if isinstance(reading.fit, Fit) else None,
        "readiness": {
            "blur_um": _optional(reading.readiness.blur_um, LENGTH_DIGITS, "readiness.blur_um"),
            "smallest_visible_um": _optional(
                reading.readiness.smallest_visible_um, LENGTH_DIGITS, "readiness.smallest_visible_um"
            ),
            # The verdict's checks are the reading's and those that the criteria add.
            "checks": [_check(check) for check in verdict.checks or reading.readiness.checks],
        },
        "zones": [_zone(zone) for zone in verdict.zones],
        "features": _features(reading.features, verdict.placed),
        "occlusion": None
        if reading.occlusion is None
        else {
            "weighted_fraction": _number(
                reading.occlusion.weighted_fraction, FRACTION_DIGITS, "occlusion.weighted_fraction"
            ),
            # Infinite where everything is covered; JSON has no word for that.
            "loss_db": _finite(reading.occlusion.loss_db, FRACTION_DIGITS),
        },
        "seconds": _number(seconds, SECONDS_DIGITS, "seconds"),
    }


def error_record(image: str, message: str) -> dict[str, Json]:
    """Return the record of a picture that couldn't be read at all.

    Such a picture has no verdict, not even ``unreadable``: nobody has seen it.

    Parameters
    ----------
    image
        The path as it was given.
    message
        What happened, where, and what to do.
    """
    return {"schema": SCHEMA, "image": image, "verdict": None, "error": message}


def record_line(values: dict[str, Json]) -> str:
    """Return a record as one line of JSON, without the line end.

    Everything outside ASCII is escaped: the line then survives any console, and a path that isn't valid
    Unicode.
    """
    return json.dumps(values, ensure_ascii=True, allow_nan=False, separators=(", ", ": "))


def _fit(fit: Fit) -> dict[str, Json]:
    core = None if fit.core is None else _point(fit.core.centre_px, "fit.core_centre_px")
    return {
        "centre_px": _point(fit.centre_px, "fit.centre_px"),
        "core_centre_px": core,
        "cladding_diameter_px": _number(fit.cladding_diameter_px, LENGTH_DIGITS, "fit.cladding_diameter_px"),
        # A scale is a ratio: three decimals of it would lose what the diameter knows.
        "um_per_px": _number(fit.um_per_px, FRACTION_DIGITS, "fit.um_per_px"),
        "scale_source": fit.scale_source.value,
    }


def _check(check: Check) -> dict[str, Json]:
    return {
        "name": check.name,
        "ok": bool(check.ok),
        "value": _finite(check.value, FRACTION_DIGITS),
        "limit": _finite(check.limit, FRACTION_DIGITS),
        "unit": check.unit,
    }


def _zone(zone: ZoneResult) -> dict[str, Json]:
    return {
        "zone": zone.zone,
        "inner_um": _number(zone.inner_um, LENGTH_DIGITS, "zones.inner_um"),
        "outer_um": _number(zone.outer_um, LENGTH_DIGITS, "zones.outer_um"),
        "seen": _number(zone.seen, FRACTION_DIGITS, "zones.seen"),
        "scratches": int(zone.scratches),
        "defects": int(zone.defects),
        "broken": list(zone.broken),
    }


def _features(features: Iterable[Feature], placed: Iterable[Placed]) -> list[Json]:
    places = {place.feature_id: place for place in placed}
    return [_feature(feature, places.get(feature.id)) for feature in features]


def _feature(feature: Feature, place: Placed | None) -> dict[str, Json]:
    return {
        "id": int(feature.id),
        "form": feature.form.value,
        "cause": feature.cause.value,
        "confidence": _number(feature.confidence, FRACTION_DIGITS, "features.confidence"),
        # Null outside every zone, and where nothing was judged.
        "zone": place.zone if place is not None and place.zone else None,
        "size_um": _number(feature.size_um, LENGTH_DIGITS, "features.size_um"),
        "size_error_um": _finite(feature.size_error_um, LENGTH_DIGITS),
        "width_um": _number(feature.width_um, LENGTH_DIGITS, "features.width_um"),
        "length_um": _number(feature.length_um, LENGTH_DIGITS, "features.length_um"),
        "centroid_um": _point(feature.centroid_um, "features.centroid_um"),
        "outline_um": [_point(point, "features.outline_um") for point in feature.outline_um],
        "counted": place is not None and place.counted,
    }


def _point(point: tuple[float, float], name: str) -> list[Json]:
    return [_number(point[0], LENGTH_DIGITS, name), _number(point[1], LENGTH_DIGITS, name)]


def _finite(value: float, digits: int) -> float | None:
    """Round; None for what JSON can't hold."""
    if not math.isfinite(value):
        return None
    return round(float(value), digits) + 0.0  # + 0.0 turns a negative zero into zero


def _number(value: float, digits: int, name: str) -> float:
    number = _finite(value, digits)
    if number is None:
        raise ValueError(f"the record's {name} must be a finite number, not {value}")
    return number


def _optional(value: float | None, digits: int, name: str) -> float | None:
    return None if value is None else _number(value, digits, name)
