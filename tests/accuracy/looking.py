"""One seed: draw it, have it graded, and put what was found beside what is there."""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from tests.accuracy.matching import Area, Matching, area_of, match, overlap
from tests.accuracy.plan import Planned, planned
from tests.accuracy.truths import FAINT_SNR, Known, known, owed
from workstation.bench import Graded, grade
from workstation.criteria import Criteria, available, judge, load_criteria
from workstation.simulator.render import Rendered, render
from workstation.simulator.truth import Truth
from workstation.values import Feature, Fit, Form, NoFit, Outcome

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Case:
    """Everything the figures need of one picture, as plain values.

    ``true`` (each found, merged, missed, or refused with its picture), ``false_alarms`` and ``fit`` are rows
    for the figures; ``verdicts`` maps a criteria set's id to the verdict owed and the one given.
    """

    seed: int
    condition: str
    about: Row
    fit: Row
    true: list[Row] = field(default_factory=list)
    false_alarms: list[Row] = field(default_factory=list)
    pieces: int = 0
    verdicts: dict[str, tuple[str, str]] = field(default_factory=dict)
    reasons: tuple[str, ...] = ()
    seconds: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Looked:
    """A picture with its truth, its reading and their matching."""

    plan: Planned
    picture: Rendered
    graded: Graded
    known: list[Known]
    matching: Matching
    found: list[Area]


def criteria_sets() -> list[Criteria]:
    """Return the criteria that ship, the default first."""
    return [load_criteria(ref.id) for ref in available()]


def look(seed: int, criteria: Criteria) -> Looked:
    """Draw, grade and match one seed."""
    plan = planned(seed)
    picture = render(plan.scene, plan.optics, seed)
    graded = grade(picture.pixels, criteria)
    truths = known(plan.scene, plan.optics, picture.truth) if picture.truth.centre_px is not None else []
    found = [area_of(np.asarray(one.outline_um, dtype=np.float64)) for one in graded.reading.features]
    touching = [set(one.touching) for one in truths]
    matching = match([one.area for one in truths], found, picture.truth.blur_um, touching)
    return Looked(plan, picture, graded, truths, matching, found)


def case_of(seed: int) -> Case:
    """Measure one seed; this is what runs in the worker processes."""
    sets = criteria_sets()
    looked = look(seed, sets[0])
    truth, reading = looked.picture.truth, looked.graded.reading
    judged = looked.graded.verdict.outcome is not Outcome.UNREADABLE
    given = {one.id: judge(reading, one).outcome.value for one in sets}
    return Case(
        seed=seed,
        condition=truth.condition,
        about=_about(looked.plan, truth),
        fit=_fit_row(truth, reading.fit),
        true=[_true_row(i, looked, judged) for i in range(len(looked.known))],
        false_alarms=[_found_row(reading.features[i]) for i in looked.matching.false_alarms],
        pieces=len(looked.matching.pieces),
        verdicts={one.id: (owed(looked.known, truth, one), given[one.id]) for one in sets},
        reasons=looked.graded.verdict.reasons,
        seconds=looked.graded.seconds,
    )


def _about(plan: Planned, truth: Truth) -> Row:
    return {
        "contents": plan.contents,
        "fault": plan.fault,
        "camera_faults": plan.camera_faults,
        "fibre": truth.fibre or "",
        "size": f"{truth.width_px}x{truth.height_px}",
        "um_per_px": round(truth.um_per_px, 4),
        "blur_um": round(truth.blur_um, 3),
        "colour": plan.optics.colour is not None,
        "jpeg": plan.optics.jpeg_quality is not None,
        "ferrule_brighter": bool(truth.ferrule_brighter),
        "array": len(plan.scene.fibres) > 1,
    }


def _fit_row(truth: Truth, fit: Fit | NoFit) -> Row:
    if isinstance(fit, NoFit):
        return {"fitted": False, "reason": fit.reason.value}
    row: Row = {"fitted": True}
    if truth.centre_px is None or truth.cladding_diameter_px is None or truth.core_centre_px is None:
        return row
    px = math.dist(fit.centre_px, truth.centre_px)
    row["centre_um"] = px * truth.um_per_px
    row["diameter_percent"] = abs(fit.cladding_diameter_px / truth.cladding_diameter_px - 1) * 100
    row["blur_um"] = fit.blur_um - truth.blur_um
    row["polarity_right"] = (fit.polarity.value == "ferrule_brighter") == truth.ferrule_brighter
    row["true_kind"] = truth.fibre
    row["kind"] = fit.core.kind.value if fit.core is not None else "none"
    row["core_step"] = truth.core_step
    if fit.core is not None and truth.core_diameter_um is not None:
        row["core_centre_um"] = math.dist(fit.core.centre_px, truth.core_centre_px) * truth.um_per_px
        row["core_diameter_um"] = abs(fit.core.diameter_um - truth.core_diameter_um)
    return row


def _true_row(i: int, looked: Looked, judged: bool) -> Row:
    one, matching = looked.known[i], looked.matching
    feature = one.feature
    how = "found" if i in matching.pairs else "merged" if i in matching.merged else "missed"
    how = how if judged else "refused"
    row: Row = {
        "id": feature.id,
        "form": feature.form.value,
        "cause": feature.cause.value,
        "size": feature.size_um,
        "width": feature.width_um,
        "length": feature.length_um,
        "contrast": one.contrast,
        "zone": one.zone,
        "at": [round(value, 1) for value in feature.centroid_um],
        "snr": round(one.snr, 1),
        "faint": one.snr < FAINT_SNR,
        "why_not": one.why_not,
        "alone": not one.touching,
        "whole": one.seen == 1.0,
        "how": how,
        "pieces": sum(1 for owner in matching.pieces.values() if owner == i),
    }
    if how != "found":
        return row
    at = matching.pairs[i]
    found = looked.graded.reading.features[at]
    row["found_form"], row["found_cause"] = found.form.value, found.cause.value
    row["overlap"] = overlap(one.area.filled, looked.found[at].filled)
    if feature.form is Form.SCRATCH:
        row["error"], row["stated"] = found.width_um - feature.width_um, found.width_error_um
    else:
        row["error"], row["stated"] = found.size_um - feature.size_um, found.size_error_um
    row["shared"] = at in matching.merged.values()
    return row


def _found_row(found: Feature) -> Row:
    return {
        "form": found.form.value,
        "cause": found.cause.value,
        "size": round(found.size_um, 2),
        "width": round(found.width_um, 2),
        "contrast": round(found.contrast, 3),
        "at": [round(value, 1) for value in found.centroid_um],
        "inner": round(found.inner_um, 1),
    }
