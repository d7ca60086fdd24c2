"""What a rendered picture really shows, to be kept beside it."""

import json
import math
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from workstation.simulator import shapes
from workstation.simulator.optics import Optics
from workstation.simulator.scene import Outline, Scene, SceneFeature
from workstation.values import Cause, Form


@dataclass(frozen=True, slots=True)
class View:
    """How the scene's micrometres come to lie in the picture.

    Attributes
    ----------
    turn
        float64, (2, 2): scene to image axes, both in micrometres (the scope's rotation, and the stretch of a
        tilted face).
    origin_px, um_per_px
        Where the scene's origin lies in the picture, and the scale.
    """

    turn: NDArray[np.float64]
    origin_px: tuple[float, float]
    um_per_px: float

    @classmethod
    def of(cls, scene: Scene, optics: Optics, margin: int = 0) -> "View":
        """Make the view of a scene, on a canvas with ``margin`` more pixels on every side of the picture."""
        c, s = math.cos(scene.axis_angle_rad), math.sin(scene.axis_angle_rad)
        axes = np.array([[c, -s], [s, c]])
        long = math.sqrt(scene.axis_ratio)
        stretch = axes @ np.diag([long, 1 / long]) @ axes.T
        c, s = math.cos(optics.rotation_rad), math.sin(optics.rotation_rad)
        x, y = optics.origin_px
        return cls(np.array([[c, -s], [s, c]]) @ stretch, (x + margin, y + margin), optics.um_per_px)

    def image_um(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn scene micrometres (n, 2) into micrometres from the origin in image axes."""
        return np.asarray(points @ self.turn.T)

    def px(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Turn scene micrometres (n, 2) into pixels."""
        return np.asarray(self.image_um(points) / self.um_per_px + np.asarray(self.origin_px))


@dataclass(frozen=True, slots=True)
class TrueFeature:
    """One feature as it really is; lengths in micrometres from the cladding's centre, in image axes.

    Attributes
    ----------
    id
        From 1, in the scene's order.
    contrast
        Relative depth against the local background before any blur: −0.3 is 30 % darker.
    size_um
        Diameter of the smallest circle around the outline.
    width_um, length_um
        A scratch: mean width and length along its middle line. Otherwise smallest and largest caliper width.
    outline_um
        Closed polygon, the first point not repeated.
    inner_um, outer_um
        Smallest and largest distance of the feature from the cladding's centre.
    """

    id: int
    form: Form
    cause: Cause
    contrast: float
    size_um: float
    width_um: float
    length_um: float
    centroid_um: tuple[float, float]
    outline_um: Outline
    inner_um: float
    outer_um: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What a rendered picture really shows.

    Attributes
    ----------
    condition
        good, defocused, cut_off, zone_cut_off, black, burnt_out or no_fibre.
    fibre
        single_mode, multimode_50 or multimode_62_5; None without a fibre.
    centre_px, cladding_diameter_px
        Cladding centre (x, y) and mean diameter in pixels; None without a fibre.
    um_per_px, blur_um
        Scale, and standard deviation of the Gaussian blur.
    core_centre_px, core_diameter_um, core_step
        The core, whether or not it shows; None without a fibre.
    ferrule_brighter
        Whether the ferrule is the brighter side of the cladding edge.
    axis_ratio, axis_angle_rad
        Long over short axis of the cladding's outline, and the direction of the long one in the picture.
    """

    condition: str
    fibre: str | None
    width_px: int
    height_px: int
    um_per_px: float
    blur_um: float
    centre_px: tuple[float, float] | None
    cladding_diameter_px: float | None
    cladding_diameter_um: float | None
    core_centre_px: tuple[float, float] | None
    core_diameter_um: float | None
    core_step: float | None
    ferrule_brighter: bool | None
    axis_ratio: float
    axis_angle_rad: float
    features: tuple[TrueFeature, ...]

    def to_json(self) -> str:
        """Return the truth as JSON text, enums by their values."""
        record = asdict(self)
        for feature in record["features"]:
            feature["form"] = feature["form"].value
            feature["cause"] = feature["cause"].value
        return json.dumps(record, indent=1)

    @classmethod
    def from_json(cls, text: str) -> "Truth":
        """Read what `to_json` wrote.

        Raises
        ------
        ValueError
            The text isn't JSON, or not the record of a truth.
        """
        try:
            record = json.loads(text)
            features = tuple(
                TrueFeature(
                    **{
                        **one,
                        "form": Form(one["form"]),
                        "cause": Cause(one["cause"]),
                        "centroid_um": tuple(one["centroid_um"]),
                        "outline_um": tuple((x, y) for x, y in one["outline_um"]),
                    }
                )
                for one in record["features"]
            )
            pairs = {
                name: None if record[name] is None else tuple(record[name])
                for name in ("centre_px", "core_centre_px")
            }
            return cls(**{**record, **pairs, "features": features})
        except (KeyError, TypeError, json.JSONDecodeError) as fault:
            raise ValueError(f"This isn't the truth of a rendered picture: {fault}.") from fault


def _rounded(value: Any, digits: int = 6) -> Any:
    return round(float(value), digits)


def true_feature(number: int, feature: SceneFeature, view: View) -> TrueFeature:
    """Measure one feature's outline as it lies in image axes."""
    outline = view.image_um(np.asarray(feature.outline_um))
    hole = view.image_um(np.asarray(feature.hole_um)) if feature.hole_um else None
    _, size = shapes.smallest_circle(outline)
    longest, narrowest = shapes.extent(outline)
    inner = shapes.edge_distance(outline)
    if shapes.contains_origin(outline):
        in_hole = hole is not None and shapes.contains_origin(hole)
        inner = shapes.edge_distance(hole) if in_hole and hole is not None else 0.0
    x, y = shapes.centroid(outline)
    return TrueFeature(
        id=number,
        form=feature.form,
        cause=feature.cause,
        contrast=_rounded(feature.contrast),
        size_um=_rounded(size),
        width_um=_rounded(feature.width_um or narrowest),
        length_um=_rounded(feature.length_um or longest),
        centroid_um=(_rounded(x), _rounded(y)),
        outline_um=shapes.as_outline(outline),
        inner_um=_rounded(inner),
        outer_um=_rounded(np.hypot(*outline.T).max()),
    )


def condition_of(scene: Scene, optics: Optics) -> str:
    """Name what is right or wrong with the picture as a whole.

    A picture is black where its brighter surface stays below grey level 16, burnt out where the cladding is
    at the sensor's limit, and defocused where a Gaussian blur of 2.5 µm or more hides what the criteria ask
    about. The cladding may be cut off, or be in view while zone C (to 135 µm) is cut off.
    """
    brighter = max(scene.ferrule_level, scene.cladding_level if scene.fibres else 0.0)
    if optics.exposure * brighter < 16.0:
        return "black"
    fibre = scene.fibre
    if fibre is None:
        return "no_fibre"
    x, y = optics.origin_px
    reach = fibre.cladding_diameter_um / optics.um_per_px / 2
    right, bottom = optics.width_px - 1 - x, optics.height_px - 1 - y
    if min(x, y, right, bottom) < reach:
        return "cut_off"
    if optics.exposure * scene.cladding_level >= 255.0:
        return "burnt_out"
    if min(x, y, right, bottom) < 67.5 / optics.um_per_px:
        return "zone_cut_off"
    return "defocused" if optics.blur_um >= 2.5 else "good"


def truth_of(scene: Scene, optics: Optics) -> Truth:
    """Return what the picture of this scene through these optics shows."""
    view = View.of(scene, optics)
    fibre = scene.fibre
    core_px = None
    if fibre is not None:
        at = np.asarray(fibre.centre_um) + np.asarray(fibre.core_offset_um)
        x, y = view.px(at[None, :])[0]
        core_px = (_rounded(x), _rounded(y))
    x, y = optics.origin_px
    return Truth(
        condition=condition_of(scene, optics),
        fibre=None if fibre is None else fibre.kind.value,
        width_px=optics.width_px,
        height_px=optics.height_px,
        um_per_px=optics.um_per_px,
        blur_um=optics.blur_um,
        centre_px=None if fibre is None else (float(x), float(y)),
        cladding_diameter_px=None
        if fibre is None
        else _rounded(fibre.cladding_diameter_um / optics.um_per_px),
        cladding_diameter_um=None if fibre is None else fibre.cladding_diameter_um,
        core_centre_px=core_px,
        core_diameter_um=None if fibre is None else fibre.core_diameter_um,
        core_step=None if fibre is None else fibre.core_step,
        ferrule_brighter=None if fibre is None else scene.ferrule_level > scene.cladding_level,
        axis_ratio=scene.axis_ratio,
        axis_angle_rad=_rounded((scene.axis_angle_rad + optics.rotation_rad) % math.pi),
        features=tuple(true_feature(i, one, view) for i, one in enumerate(scene.features, 1)),
    )
