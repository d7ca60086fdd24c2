"""Where the fibre lies in a picture, or why no trustworthy fit was possible."""

from dataclasses import dataclass
from enum import Enum


class Polarity(Enum):
    """Which side of the cladding edge is the brighter."""

    FERRULE_BRIGHTER = "ferrule_brighter"
    CLADDING_BRIGHTER = "cladding_brighter"


class ScaleSource(Enum):
    """What micrometres per pixel rests on."""

    CLADDING = "cladding"
    GIVEN = "given"
    CALIBRATION = "calibration"


class CoreKind(Enum):
    """What kind of fibre the core looks like."""

    SINGLE_MODE = "single_mode"
    MULTIMODE_50 = "multimode_50"
    MULTIMODE_62_5 = "multimode_62_5"
    UNKNOWN = "unknown"


class NoFitReason(Enum):
    """Why a picture has no trustworthy fit."""

    BLACK = "black"
    OVER_EXPOSED = "over_exposed"
    BLURRED = "blurred"
    CUT_OFF = "cut_off"
    MISSING = "missing"
    TOO_SMALL = "too_small"


@dataclass(frozen=True, slots=True)
class Core:
    """The core, where it can be told from the cladding.

    Attributes
    ----------
    centre_px
        Centre (x, y) in pixels.
    diameter_um
        Diameter at half of the step, in micrometres.
    step
        Brightness of the core over that of the cladding, less one: 0.2 is a core 20 % brighter.
    kind
        The kind of fibre that this diameter belongs to.
    """

    centre_px: tuple[float, float]
    diameter_um: float
    step: float
    kind: CoreKind


@dataclass(frozen=True, slots=True)
class Fit:
    """The cladding, fitted.

    Attributes
    ----------
    centre_px
        Centre (x, y) of the cladding in pixels.
    cladding_diameter_px
        Mean diameter of the cladding in pixels.
    um_per_px
        Scale in micrometres per pixel.
    scale_source, scale_error
        What the scale rests on, and its relative standard error.
    blur_um
        Standard deviation of the Gaussian that blurs the cladding edge, in micrometres.
    polarity
        Which side of the edge is the brighter.
    support
        Fraction of the circumference at which the edge was found where the fit has it, 0 to 1.
    axis_ratio, axis_angle_rad
        Long over short axis of the outline (1 for a circle), and the direction of the long one from x toward y.
    core
        The core, or None where it can't be told from the cladding.
    """

    centre_px: tuple[float, float]
    cladding_diameter_px: float
    um_per_px: float
    scale_source: ScaleSource
    scale_error: float
    blur_um: float
    polarity: Polarity
    support: float
    axis_ratio: float = 1.0
    axis_angle_rad: float = 0.0
    core: Core | None = None

    def to_um(self, x_px: float, y_px: float) -> tuple[float, float]:
        """Turn a place in pixels into micrometres from the cladding's centre."""
        return (x_px - self.centre_px[0]) * self.um_per_px, (y_px - self.centre_px[1]) * self.um_per_px

    def to_px(self, x_um: float, y_um: float) -> tuple[float, float]:
        """Turn a place in micrometres from the cladding's centre into pixels."""
        return self.centre_px[0] + x_um / self.um_per_px, self.centre_px[1] + y_um / self.um_per_px


@dataclass(frozen=True, slots=True)
class NoFit:
    """No trustworthy fit: the reason, and in words what was seen and what to do."""

    reason: NoFitReason
    message: str
