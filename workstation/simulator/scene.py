"""An end face in micrometres: what is there, before any microscope looks at it.

The origin is the centre of the main fibre's cladding (or of the face where there is no fibre), x right and y
down before the scope turns the picture. Levels are reflected brightness on a common scale, usually 1 for the
brighter of ferrule and cladding.
"""

from dataclasses import dataclass, field
from enum import Enum

from workstation.values import Cause, Form

Outline = tuple[tuple[float, float], ...]


class FibreKind(Enum):
    """The three kinds of fibre that are drawn."""

    SINGLE_MODE = "single_mode"
    MULTIMODE_50 = "multimode_50"
    MULTIMODE_62_5 = "multimode_62_5"


@dataclass(frozen=True, slots=True)
class Fibre:
    """One fibre in its bore; lengths in micrometres.

    Attributes
    ----------
    centre_um
        Centre of the cladding; (0, 0) for the main fibre.
    cladding_diameter_um
        125.0 ± 0.7 (ITU-T G.657; ± 1.0 in G.652 and IEC 60793-2-10; from memory).
    core_diameter_um
        Single-mode 8.2 to 9.2, multimode 50 or 62.5 ± 2.5 (IEC 60793-2-10; from memory).
    core_offset_um
        Core centre less cladding centre: at most 0.6 single-mode, 2 multimode (from memory).
    core_step
        Brightness of the core over that of the cladding, less one: about +0.02 unlit, to +0.5 and more lit.
    core_edge
        Share of the step that is left just inside the core's edge; the profile between centre and edge is a
        parabola. 1 is a flat core.
    glue_width_um, glue_depth
        Mean radial width of the dark glue line, 0.1 to 1.5, and how much darker it is than the darker of
        ferrule and cladding, 0 to 1. (Glue of the cladding's own level would hide where the cladding ends.)
    bore_offset_um
        Centre of the bore less that of the cladding: the glue line is wider on that side.
    """

    kind: FibreKind = FibreKind.SINGLE_MODE
    centre_um: tuple[float, float] = (0.0, 0.0)
    cladding_diameter_um: float = 125.0
    core_diameter_um: float = 8.8
    core_offset_um: tuple[float, float] = (0.0, 0.0)
    core_step: float = 0.02
    core_edge: float = 1.0
    glue_width_um: float = 0.5
    glue_depth: float = 0.6
    bore_offset_um: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Layer:
    """One flat part of a feature.

    Attributes
    ----------
    outline_um
        Closed polygon; the first point isn't repeated.
    contrast
        What it adds to the feature's relative depth: −0.3 is 30 % darker than the background, +0.3 brighter.
    soft_um
        Standard deviation of a Gaussian that softens its edge, 0 for a sharp one.
    mottle, mottle_um
        Standard deviation of the contrast inside the layer, relative to it, and how coarse that is.
    """

    outline_um: Outline
    contrast: float
    soft_um: float = 0.0
    mottle: float = 0.0
    mottle_um: float = 1.0


@dataclass(frozen=True, slots=True)
class SceneFeature:
    """Anything on the face.

    Attributes
    ----------
    form, cause
        As the standard counts it, and where it comes from.
    contrast
        Relative depth against the local background before any blur, at the deepest level.
    outline_um
        The true outline: the edge, or the half-depth line of a soft one. Closed; first point not repeated.
    layers
        What is drawn. They add up to the relative depth.
    hole_um
        Outline of an untouched middle, as in a ring; empty where there is none.
    width_um, length_um
        Of a scratch: mean width and length along its middle line; 0 otherwise.
    removable
        Whether cleaning can take it away.
    """

    form: Form
    cause: Cause
    contrast: float
    outline_um: Outline
    layers: tuple[Layer, ...]
    hole_um: Outline = ()
    width_um: float = 0.0
    length_um: float = 0.0
    removable: bool = False


class Surface(Enum):
    """What the scope is pointed at."""

    FERRULE = "ferrule"
    ARRAY = "array"
    BLANK = "blank"
    CAP = "cap"


@dataclass(frozen=True, slots=True)
class Scene:
    """A face and everything on it.

    Attributes
    ----------
    fibres
        The main fibre first; empty for a face without one.
    ferrule_level, cladding_level
        Brightness, the brighter of them usually 1 and 1.3 to 4 times the other.
    grain, grain_um
        Standard deviation of the ferrule's texture relative to its level, 0.02 to 0.06, and its grain size
        (Gaussian standard deviation), 0.3 to 1.
    texture
        Standard deviation of the cladding's polishing texture relative to its level, 0 to 0.006.
    axis_ratio, axis_angle_rad
        Long over short axis of what is a circle on the face, as for a tilted (angled) face, and the
        direction of the long one from x toward y. Areas are kept.
    """

    fibres: tuple[Fibre, ...] = (Fibre(),)
    ferrule_level: float = 1.0
    cladding_level: float = 0.3
    grain: float = 0.03
    grain_um: float = 0.5
    texture: float = 0.002
    axis_ratio: float = 1.0
    axis_angle_rad: float = 0.0
    surface: Surface = Surface.FERRULE
    features: tuple[SceneFeature, ...] = field(default_factory=tuple)

    @property
    def fibre(self) -> Fibre | None:
        """The main fibre, or None."""
        return self.fibres[0] if self.fibres else None
