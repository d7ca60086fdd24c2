"""An acceptance table as plain frozen values: zones, the rules of each, and what is known of every number.

Nothing here reads a file (see ``files``) or judges a reading (see ``judging``).
"""

from dataclasses import dataclass
from enum import Enum

from workstation.values import CriteriaRef, Form


class Known(Enum):
    """How a value was obtained; the word stands in the criteria file as it is here."""

    STANDARD = "seen in the standard"
    REPRODUCTION = "seen in a reproduction"
    MEMORY = "from memory"
    WEAK_MEMORY = "from memory, weak: check against the published standard"
    OWN_CHOICE = "own choice"

    @property
    def unverified(self) -> bool:
        """Whether the value rests on memory alone."""
        return self in (Known.MEMORY, Known.WEAK_MEMORY)


class Fibre(Enum):
    """The kind of fibre that a table is for."""

    SINGLE_MODE = "single-mode"
    MULTIMODE = "multimode"


def noun(form: Form, count: int | None) -> str:
    """Return ``scratch`` or ``defect`` in singular for one and in plural for every other count."""
    if count == 1:
        return form.value
    return "scratches" if form is Form.SCRATCH else "defects"


@dataclass(frozen=True, slots=True)
class SizeRange:
    """Sizes between two bounds, each of which belongs to the range or doesn't.

    Attributes
    ----------
    low_um, high_um
        The bounds in micrometres; ``high_um`` None for no upper bound.
    holds_low, holds_high
        Whether a size exactly on the bound belongs to the range.
    """

    low_um: float
    high_um: float | None
    holds_low: bool = True
    holds_high: bool = True

    def holds(self, size_um: float) -> bool:
        """Whether a size lies in the range."""
        return self.meets(size_um, size_um)

    def meets(self, low_um: float, high_um: float) -> bool:
        """Whether the range holds any size from ``low_um`` to ``high_um``, both included."""
        above = high_um > self.low_um or (self.holds_low and high_um == self.low_um)
        below = self.high_um is None or low_um < self.high_um or (self.holds_high and low_um == self.high_um)
        return above and below

    @property
    def words(self) -> str:
        """The range as it stands in a sentence, as in ``from 2 to 5 µm``; empty for every size."""
        if self.high_um is None:
            if self.low_um == 0 and self.holds_low:
                return ""
            return f"{'from' if self.holds_low else 'above'} {self.low_um:g} µm"
        high = f"{'to' if self.holds_high else 'below'} {self.high_um:g} µm"
        if self.low_um == 0 and self.holds_low:
            return f"up {high}" if self.holds_high else high
        if self.holds_low:
            return f"from {self.low_um:g} {'to' if self.holds_high else 'to below'} {self.high_um:g} µm"
        return f"above {self.low_um:g} and {'up ' if self.holds_high else ''}{high}"


@dataclass(frozen=True, slots=True)
class Rule:
    """How many features of one form and range of sizes a zone may hold.

    Attributes
    ----------
    form
        Scratch (judged by its width) or defect (judged by the smallest circle around it).
    sizes
        The range of sizes.
    at_most
        The largest number allowed; None for no limit.
    known, note
        How the limit was obtained, and a remark on it, or an empty string.
    """

    form: Form
    sizes: SizeRange
    at_most: int | None
    known: Known
    note: str = ""

    @property
    def words(self) -> str:
        """The rule in words, as in ``at most 5 defects from 2 to 5 µm``."""
        what = noun(self.form, self.at_most)
        size = f" {self.sizes.words}" if self.sizes.words else ""
        if self.at_most is None:
            return f"any number of {what}{size}"
        return f"no {what}{size}" if self.at_most == 0 else f"at most {self.at_most} {what}{size}"


@dataclass(frozen=True, slots=True)
class Zone:
    """One zone of the face, by its diameters as the standard states them.

    Attributes
    ----------
    letter
        A to D from the centre outward.
    inner_um, outer_um
        Inner and outer diameter in micrometres.
    wholly_in_view
        Whether a picture that shows only a part of the zone can't be judged.
    known
        How the diameters were obtained.
    rules
        For each form the ranges of sizes, ascending, that together hold every size once.
    """

    letter: str
    inner_um: float
    outer_um: float
    wholly_in_view: bool
    known: Known
    rules: tuple[Rule, ...]


@dataclass(frozen=True, slots=True)
class Criteria:
    """One acceptance table. The published standard rules; this repeats it.

    Attributes
    ----------
    id, title, source, provenance
        Short name, title for a person, published document and table, and in words how the values were
        obtained.
    fibre
        The kind of fibre that the table is for.
    mode_field_diameter_um
        Mode field diameter that the estimate of blocked light assumes. A multimode fibre has no single mode
        field: there it stands for the core's diameter and the estimate is only a rough one.
    smallest_asked_um, narrowest_scratch_asked_um
        A picture must be able to show a defect of this diameter and a scratch of this width to be judged.
    zones
        From the centre outward, without gaps.
    """

    id: str
    title: str
    source: str
    provenance: str
    fibre: Fibre
    mode_field_diameter_um: float
    smallest_asked_um: float
    narrowest_scratch_asked_um: float
    zones: tuple[Zone, ...]

    @property
    def unverified(self) -> bool:
        """Whether a zone's diameters or a limit rest on memory alone."""
        return any(
            zone.known.unverified or any(rule.known.unverified for rule in zone.rules) for zone in self.zones
        )

    @property
    def ref(self) -> CriteriaRef:
        """What a verdict keeps of the table."""
        return CriteriaRef(self.id, self.title, self.source, self.provenance, self.unverified)
