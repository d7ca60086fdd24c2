"""What the criteria say of a reading."""

from dataclasses import dataclass
from enum import Enum

from workstation.values.reading import Check


class Outcome(Enum):
    """The four things a verdict can say."""

    PASS = "pass"
    FAIL = "fail"
    BORDERLINE = "borderline"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class CriteriaRef:
    """Which criteria a verdict rests on.

    Attributes
    ----------
    id, title, source
        Short name, title for a person, and the published document and table.
    provenance
        In words, how the values were obtained.
    unverified
        Whether any limit that could decide the verdict was not checked against the published document.
    """

    id: str
    title: str
    source: str
    provenance: str
    unverified: bool


@dataclass(frozen=True, slots=True)
class ZoneResult:
    """One zone's count.

    Attributes
    ----------
    zone
        Letter, A to D.
    inner_um, outer_um
        Inner and outer diameter of the zone, as the standard states them.
    seen
        Fraction of the zone's area inside the frame, 0 to 1.
    scratches, defects
        How many of each lie in the zone, whether or not a rule counts them.
    broken
        The rules that were broken, in words.
    """

    zone: str
    inner_um: float
    outer_um: float
    seen: float
    scratches: int
    defects: int
    broken: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Placed:
    """The zone that a feature is judged in, and whether it counts against a limit there.

    ``zone`` is empty for a feature outside every zone. ``breaks`` says whether it has a part in a broken rule.
    """

    feature_id: int
    zone: str
    counted: bool
    breaks: bool


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the criteria say of a reading: outcome, why, and what to do next.

    Attributes
    ----------
    outcome
        Pass, fail, borderline or unreadable.
    reasons
        Sentences that name zone, rule, count and feature numbers.
    criteria
        The criteria used.
    zones
        Zones from the centre outward; empty for a picture that couldn't be judged.
    placed
        One entry a feature, in the reading's order.
    checks
        The reading's checks and those that the criteria add (what they ask to be visible, what must be in view).
    next_step
        What to do now, in plain words.
    cleaning_may_help
        Whether cleaning can be expected to change the verdict.
    """

    outcome: Outcome
    reasons: tuple[str, ...]
    criteria: CriteriaRef
    zones: tuple[ZoneResult, ...]
    placed: tuple[Placed, ...]
    checks: tuple[Check, ...]
    next_step: str
    cleaning_may_help: bool
