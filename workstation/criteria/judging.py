"""A reading and criteria → a verdict with its reasons.

The published standard rules. A verdict on a picture doesn't replace measurements of loss and return loss.
"""

from collections.abc import Sequence

from workstation.criteria.counting import Cell, Standing, broken, place, weigh
from workstation.criteria.next_step import after_judging, after_refusal, cleaning_may_help
from workstation.criteria.sentences import (
    broken_sentence,
    doubt_sentences,
    kept_sentence,
    listed,
    unmet_sentence,
)
from workstation.criteria.table import Criteria, Fibre
from workstation.criteria.view import seen_fraction
from workstation.values import (
    Check,
    CoreKind,
    Fit,
    Form,
    NoFit,
    Outcome,
    Placed,
    Reading,
    Verdict,
    ZoneResult,
)

WHOLLY_SEEN = 0.999  # own choice: a zone short of a thousandth of its area is still wholly in view


def judge(
    reading: Reading, criteria: Criteria, *, whole_contact_zone: bool = False, strict: bool = False
) -> Verdict:
    """Judge a reading by criteria.

    Parameters
    ----------
    reading
        What measurement found.
    criteria
        The acceptance table.
    whole_contact_zone
        Refuse a picture that doesn't show every zone wholly, the outermost too.
    strict
        Let a borderline face fail.

    Returns
    -------
    Verdict
        ``unreadable`` where there is no fit, where a check of the reading isn't met, where a zone that must
        be seen isn't wholly in view, or where the picture couldn't have shown the smallest features that the
        criteria ask about. Otherwise by the decision rule of ``counting``: ``pass`` or ``fail`` where the
        errors of the sizes can't change it, ``borderline`` where they can.

    Raises
    ------
    ValueError
        The reading contradicts itself: a fit without a view or smallest visible size, or a size that is no
        number.
    """
    if isinstance(reading.fit, NoFit):
        return _refused(reading, criteria, (), reading.readiness.checks, (reading.fit.message,))
    standings = tuple(place(feature, criteria) for feature in reading.features)
    seen = _seen(reading, criteria)
    checks = reading.readiness.checks + _added_checks(reading, criteria, seen, whole_contact_zone)
    unmet = tuple(unmet_sentence(check) for check in checks if not check.ok)
    if unmet:
        return _refused(reading, criteria, standings, checks, unmet)
    outcome = weigh(standings)
    breaks = broken(standings)
    reasons = _remarks(reading, criteria, standings, seen)
    reasons += [broken_sentence(cell, part) for cell, part in breaks.items()]
    if outcome is Outcome.PASS:
        reasons.append(kept_sentence(criteria))
    if outcome is Outcome.BORDERLINE:
        reasons += doubt_sentences(standings)
        if strict:
            outcome = Outcome.FAIL
            reasons.append("Accepted strictly, a borderline face fails.")
    return Verdict(
        outcome=outcome,
        reasons=tuple(reasons),
        criteria=criteria.ref,
        zones=_zone_results(criteria, standings, breaks, seen),
        placed=_placed(standings, breaks),
        checks=checks,
        next_step=after_judging(outcome, standings),
        cleaning_may_help=outcome is not Outcome.PASS and cleaning_may_help(standings),
    )


def _refused(
    reading: Reading,
    criteria: Criteria,
    standings: Sequence[Standing],
    checks: tuple[Check, ...],
    reasons: tuple[str, ...],
) -> Verdict:
    return Verdict(
        outcome=Outcome.UNREADABLE,
        reasons=reasons,
        criteria=criteria.ref,
        zones=(),
        placed=_placed(standings, {}),
        checks=checks,
        next_step=after_refusal(checks, reading.fit.message if isinstance(reading.fit, NoFit) else ""),
        cleaning_may_help=False,
    )


def _seen(reading: Reading, criteria: Criteria) -> dict[str, float]:
    if reading.view_um is None:
        raise ValueError(
            "The reading has a fit but no view: it can't be told which zones were in the picture."
        )
    return {zone.letter: seen_fraction(zone, reading.view_um) for zone in criteria.zones}


def _added_checks(
    reading: Reading, criteria: Criteria, seen: dict[str, float], whole_contact_zone: bool
) -> tuple[Check, ...]:
    """Return what the criteria ask of a picture beyond its own checks."""
    smallest, narrowest = reading.readiness.smallest_visible_um, reading.readiness.narrowest_scratch_um
    if smallest is None or narrowest is None:
        raise ValueError("The reading has a fit but doesn't say what the smallest visible feature is.")
    needed = [zone.letter for zone in criteria.zones if zone.wholly_in_view or whole_contact_zone]
    least = min((seen[letter] for letter in needed), default=1.0)
    finer = "Bring the fibre into sharp focus and set the light so that it is bright but not burnt out"
    finer += "; if that is not enough, use a scope with a finer view."
    wider = "Move the fibre to the middle of the picture"
    wider += ", or use a scope with a wider view." if whole_contact_zone else "."
    return (
        Check(
            f"{'zone' if len(needed) == 1 else 'zones'} {listed(needed)} in view",
            least >= WHOLLY_SEEN,
            100 * least,
            100 * WHOLLY_SEEN,
            "%",
            wider,
        ),
        Check(
            "smallest defect that can be seen",
            smallest <= criteria.smallest_asked_um,
            smallest,
            criteria.smallest_asked_um,
            "µm",
            finer,
        ),
        Check(
            "narrowest scratch that can be seen",
            narrowest <= criteria.narrowest_scratch_asked_um,
            narrowest,
            criteria.narrowest_scratch_asked_um,
            "µm",
            finer,
        ),
    )


def _remarks(
    reading: Reading, criteria: Criteria, standings: Sequence[Standing], seen: dict[str, float]
) -> list[str]:
    """Return what a person must know beside the counts, the part of the face that was not seen first."""
    remarks = [
        f"Zone {letter}: {min(99, int(100 * part))} % of it was seen and graded; the rest needs a wider view."
        for letter, part in seen.items()
        if part < WHOLLY_SEEN
    ]
    if criteria.unverified:
        remarks.append(f"Unverified limits: {criteria.provenance.rstrip('.')}.")
    core = reading.fit.core if isinstance(reading.fit, Fit) else None
    if core is not None and core.kind is not CoreKind.UNKNOWN:
        found = Fibre.SINGLE_MODE if core.kind is CoreKind.SINGLE_MODE else Fibre.MULTIMODE
        if found is not criteria.fibre:
            remarks.append(
                f"The core is {core.diameter_um:.0f} µm across, as in {found.value} fibre; "
                f"these criteria are for {criteria.fibre.value} fibre. Choose the criteria for this fibre."
            )
    outside = [standing.feature.id for standing in standings if standing.cell is None]
    if outside:
        remarks.append(
            f"{listed(outside, 'Feature')} outside zone {criteria.zones[-1].letter}: not graded, no limits."
        )
    return remarks


def _zone_results(
    criteria: Criteria,
    standings: Sequence[Standing],
    breaks: dict[Cell, tuple[Standing, ...]],
    seen: dict[str, float],
) -> tuple[ZoneResult, ...]:
    results = []
    for zone in criteria.zones:
        forms = [s.feature.form for s in standings if s.cell is not None and s.cell[0] is zone]
        results.append(
            ZoneResult(
                zone=zone.letter,
                inner_um=zone.inner_um,
                outer_um=zone.outer_um,
                seen=seen[zone.letter],
                scratches=forms.count(Form.SCRATCH),
                defects=forms.count(Form.DEFECT),
                broken=tuple(
                    f"{rule.words}: {len(part)} found"
                    for (where, rule), part in breaks.items()
                    if where is zone
                ),
            )
        )
    return tuple(results)


def _placed(standings: Sequence[Standing], breaks: dict[Cell, tuple[Standing, ...]]) -> tuple[Placed, ...]:
    return tuple(
        Placed(
            feature_id=standing.feature.id,
            zone=standing.cell[0].letter if standing.cell else "",
            counted=standing.limited,
            breaks=standing.cell in breaks,
        )
        for standing in standings
    )
