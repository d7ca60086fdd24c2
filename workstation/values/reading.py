"""What measurement found in one picture."""

from dataclasses import dataclass
from enum import Enum

from workstation.values.fit import Fit, NoFit


class Form(Enum):
    """The two forms that the standard counts apart."""

    SCRATCH = "scratch"
    DEFECT = "defect"


class Cause(Enum):
    """A guess at where a feature comes from; never an input to the verdict."""

    LOOSE_DUST = "loose_dust"
    SKIN_OIL = "skin_oil"
    DRIED_RESIDUE = "dried_residue"
    ADHESIVE = "adhesive"
    PIT_OR_CHIP = "pit_or_chip"
    SCRATCH = "scratch"
    FILM = "film"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Feature:
    """Anything found on the face.

    Attributes
    ----------
    id
        Number, from 1, unique in its reading.
    form, cause, confidence
        Form as the standard counts it; a guess at the cause and how sure it is, 0 to 1.
    size_um, size_error_um
        Diameter of the smallest circle around the whole feature, and its standard error.
    width_um, width_error_um, length_um
        Mean width across and length along the feature; a scratch is judged by its width.
    contrast
        Depth against the background at the deepest place: −0.3 is 30 % darker, +0.3 is 30 % brighter.
    centroid_um, outline_um
        Centroid (x, y), and one closed polygon (the first point is not repeated) from the cladding's centre.
    inner_um, outer_um
        Smallest and largest distance of the feature from the cladding's centre; the zone follows from the smallest.
    """

    id: int
    form: Form
    cause: Cause
    confidence: float
    size_um: float
    size_error_um: float
    width_um: float
    width_error_um: float
    length_um: float
    contrast: float
    centroid_um: tuple[float, float]
    outline_um: tuple[tuple[float, float], ...]
    inner_um: float
    outer_um: float


@dataclass(frozen=True, slots=True)
class Check:
    """One measured condition that a picture must meet, and what to change when it doesn't."""

    name: str
    ok: bool
    value: float
    limit: float
    unit: str
    advice: str = ""


@dataclass(frozen=True, slots=True)
class Readiness:
    """Whether a picture may be graded at all.

    Attributes
    ----------
    blur_um
        Standard deviation of the blur at the cladding edge, or None without a fit.
    smallest_visible_um
        Diameter of the smallest dark particle, and narrowest_scratch_um the width of the narrowest scratch, that
        this picture could have shown; None without a fit.
    checks
        The conditions, in the order in which a person would mend them.
    """

    blur_um: float | None
    smallest_visible_um: float | None
    narrowest_scratch_um: float | None
    checks: tuple[Check, ...]

    @property
    def ok(self) -> bool:
        """Whether every check is met."""
        return all(check.ok for check in self.checks)


@dataclass(frozen=True, slots=True)
class Occlusion:
    """Estimate of the light that dark features block directly.

    Attributes
    ----------
    weighted_fraction
        Fraction of the guided mode's power density that dark features cover, 0 to 1.
    loss_db
        Loss that direct blocking alone would cause, in decibels.
    mode_field_diameter_um
        The mode field diameter that was assumed.
    """

    weighted_fraction: float
    loss_db: float
    mode_field_diameter_um: float


@dataclass(frozen=True, slots=True)
class Reading:
    """What measurement found in one picture.

    Attributes
    ----------
    fit
        The fibre, or why there is no trustworthy fit.
    readiness
        Whether the picture may be graded.
    features
        What was found, by id; empty without a fit.
    view_um
        The frame's left, top, right and bottom edge in micrometres from the cladding's centre; None without a fit.
    occlusion
        Estimate of directly blocked light; None without a fit.
    frames_averaged
        How many frames the picture is the mean of.
    """

    fit: Fit | NoFit
    readiness: Readiness
    features: tuple[Feature, ...]
    view_um: tuple[float, float, float, float] | None
    occlusion: Occlusion | None
    frames_averaged: int = 1
