"""Features → rules: which each feature falls under, which it could, and what follows from that.

The decision rule. Each feature has a best estimate of its size and of its distance from the centre, and a 95
% interval around each. With the best estimates every feature falls under one rule; that is what counts and
broken rules tell. With the intervals it could fall under several. A face passes if it keeps every rule
however the features lie in their intervals, fails if it breaks one however they lie, and is borderline
otherwise. Features are taken as independent, so that the most a rule can hold is simply how many could fall
under it; whether some way to keep all rules exists is a matching of features to places left under the rules,
and is solved exactly.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

from workstation.criteria.table import Criteria, Rule, Zone
from workstation.values import Feature, Form, Outcome

Cell = tuple[Zone, Rule]

NORMAL_95 = 1.96  # standard errors on each side of a 95 % interval of a normal distribution


@dataclass(frozen=True, slots=True)
class Standing:
    """Where one feature stands.

    Attributes
    ----------
    feature
        The feature.
    cell
        Zone and rule by the best estimates; None outside every zone.
    could
        Every zone and rule that the feature could fall under; None among them where it could lie outside.
    """

    feature: Feature
    cell: Cell | None
    could: frozenset[Cell | None]

    @property
    def limited(self) -> bool:
        """Whether a limit counts the feature by its best estimates."""
        return self.cell is not None and self.cell[1].at_most is not None

    @property
    def certain(self) -> bool:
        """Whether only one rule is possible."""
        return len(self.could) == 1


def judged_size_um(feature: Feature) -> tuple[float, float]:
    """Return the size that the rules ask about, a scratch's width or a defect's diameter, and its error."""
    if feature.form is Form.SCRATCH:
        return feature.width_um, feature.width_error_um
    return feature.size_um, feature.size_error_um


def place(feature: Feature, criteria: Criteria) -> Standing:
    """Find the rules that a feature falls and could fall under.

    The zone follows from the feature's innermost point, so that a feature on two zones counts in the inner,
    stricter one (remembered as the standard's rule, weakly), and so does a feature that just touches it. The
    error of that point is taken as half of the size's, as the outline moves on both sides where a size
    changes.

    One consequence: a defect that reaches from zone D into C counts in C, where the tables set no limit.

    Raises
    ------
    ValueError
        A size, error or distance isn't a number of 0 or more.
    """
    size, error = judged_size_um(feature)
    radius = feature.inner_um
    if not all(np.isfinite(value) and value >= 0 for value in (size, error, radius)):
        raise ValueError(
            f"Feature {feature.id} has the size {size} ± {error} µm at {radius} µm from the centre; "
            "sizes, errors and distances are numbers of 0 or more."
        )
    spread, shift = NORMAL_95 * error, NORMAL_95 * error / 2
    low, high = max(0.0, size - spread), size + spread
    nearest, farthest = max(0.0, radius - shift), radius + shift
    cell: Cell | None = None
    could: set[Cell | None] = set()
    for zone in criteria.zones:
        inner, outer = zone.inner_um / 2, zone.outer_um / 2
        if (farthest > inner or inner == 0) and nearest <= outer:
            could.update((zone, rule) for rule in _rules(zone, feature) if rule.sizes.meets(low, high))
        if (radius > inner or inner == 0) and radius <= outer:
            cell = next((zone, rule) for rule in _rules(zone, feature) if rule.sizes.holds(size))
    if farthest > criteria.zones[-1].outer_um / 2:
        could.add(None)
    return Standing(feature, cell, frozenset(could))


def _rules(zone: Zone, feature: Feature) -> Iterable[Rule]:
    return (rule for rule in zone.rules if rule.form is feature.form)


def broken(standings: Sequence[Standing]) -> dict[Cell, tuple[Standing, ...]]:
    """Return the rules that the best estimates break, each with its features, from the centre outward."""
    counts = Counter(standing.cell for standing in standings)
    cells = [cell for cell, count in counts.items() if cell is not None and _exceeds(count, cell[1])]
    cells.sort(key=_order)
    return {cell: tuple(s for s in standings if s.cell == cell) for cell in cells}


def in_doubt(standings: Sequence[Standing]) -> dict[Cell, tuple[Standing, ...]]:
    """Return the rules that could be broken, each with the features that may or may not fall under it."""
    counts = Counter(cell for standing in standings for cell in standing.could)
    doubts = {}
    for cell in sorted((c for c in counts if c is not None and _exceeds(counts[c], c[1])), key=_order):
        wavering = tuple(s for s in standings if cell in s.could and not s.certain)
        if wavering:
            doubts[cell] = wavering
    return doubts


def weigh(standings: Sequence[Standing]) -> Outcome:
    """Return pass, fail or borderline by the decision rule of this module."""
    most = Counter(cell for standing in standings for cell in standing.could)
    if not any(cell is not None and _exceeds(count, cell[1]) for cell, count in most.items()):
        return Outcome.PASS
    return Outcome.BORDERLINE if _can_keep_all(standings) else Outcome.FAIL


def _exceeds(count: int, rule: Rule) -> bool:
    return rule.at_most is not None and count > rule.at_most


def _order(cell: Cell) -> tuple[float, str, float]:
    zone, rule = cell
    return zone.inner_um, rule.form.value, rule.sizes.low_um


def _can_keep_all(standings: Sequence[Standing]) -> bool:
    """Whether the features can be placed, each where it could lie, so that no rule is broken."""
    bound = [
        s for s in standings if all(cell is not None and cell[1].at_most is not None for cell in s.could)
    ]
    if not bound:
        return True
    places: list[Cell] = []  # as many columns for a rule as it may hold features
    for cell in {cell for standing in bound for cell in standing.could if cell is not None}:
        places += [cell] * min(cell[1].at_most or 0, len(bound))
    if len(places) < len(bound):
        return False
    fits = np.array([[cell in standing.could for cell in places] for standing in bound], dtype=np.int8)
    matched = maximum_bipartite_matching(csr_matrix(fits), perm_type="column")
    return bool(np.all(matched >= 0))
