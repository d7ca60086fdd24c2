"""Faces by chance, as a bench sees them: any scale, format, polarity, fibre, dirt, damage and fault."""

import math
from dataclasses import replace
from enum import Enum

import numpy as np

from workstation.simulator.optics import Fringes, Lamp, Optics, Spot
from workstation.simulator.random_contents import (
    Contents,
    any_contents,
    log_uniform,
    place,
    random_features,
    round_clutter,
)
from workstation.simulator.scene import Fibre, FibreKind, Layer, Scene, SceneFeature, Surface
from workstation.simulator.shapes import as_outline, circle
from workstation.values import Cause, Form

FORMATS = ((640, 480), (1280, 720), (1280, 1024), (1600, 1200), (1920, 1080), (2592, 1944))
_ZONE_C_UM = 135.0  # IEC 61300-3-35:2015: zone C ends at 135 µm


class Fault(Enum):
    """What is wrong with the picture as a whole."""

    DEFOCUSED = "defocused"
    CUT_OFF = "cut_off"
    BLACK = "black"
    BURNT_OUT = "burnt_out"
    NO_FIBRE = "no_fibre"


def random_case(
    seed: int | np.random.Generator,
    *,
    contents: Contents | str | None = None,
    fault: Fault | str | None = None,
    fibre: FibreKind | str | None = None,
    ferrule_brighter: bool | None = None,
    size_px: tuple[int, int] | None = None,
    um_per_px: float | None = None,
    colour: bool | None = None,
    array: bool | None = None,
    camera_faults: bool | None = None,
) -> tuple[Scene, Optics]:
    """Draw a face and optics by chance.

    Parameters
    ----------
    seed
        A number, or a generator to draw from. The same number gives the same case.
    contents
        What is on the face; None for any.
    fault
        What is wrong with the picture; None for a good one.
    fibre, ferrule_brighter, size_px, um_per_px, colour
        Choices to hold fast; None for any.
    array
        Several fibres at 250 µm pitch in a rectangular ferrule; None for seldom.
    camera_faults
        Dirt on the scope's glass, stuck pixels, row banding or fringes; None for sometimes.

    Returns
    -------
    tuple of Scene and Optics
        To be given to `render`.
    """
    rng = np.random.default_rng(seed)
    what = Contents(contents) if contents is not None else any_contents(rng)
    kind = FibreKind(fibre) if fibre is not None else _any_kind(rng)
    wrong = None if fault is None else Fault(fault)
    optics = _random_optics(rng, size_px, um_per_px, colour)
    scene = _random_scene(rng, kind, ferrule_brighter)
    reach_um = float(np.clip(min(optics.width_px, optics.height_px) * optics.um_per_px / 2, 67.5, 125.0))
    scene = replace(
        scene, features=tuple(random_features(rng, what, reach_um, scene.fibres[0].cladding_diameter_um / 2))
    )
    if array if array is not None else rng.random() < 0.04:
        scene, optics = _in_an_array(rng, scene, optics)
    if camera_faults if camera_faults is not None else rng.random() < 0.4:
        optics = _with_camera_faults(rng, optics)
    optics = _not_saturated(scene, optics)
    if wrong is not None:
        scene, optics = _spoil(rng, wrong, scene, optics)
    return scene, optics


def _any_kind(rng: np.random.Generator) -> FibreKind:
    return list(FibreKind)[int(rng.choice(3, p=[0.6, 0.25, 0.15]))]


def _random_optics(
    rng: np.random.Generator, size_px: tuple[int, int] | None, um_per_px: float | None, colour: bool | None
) -> Optics:
    """Draw format, scale, framing, light and noise such that zones A to C lie wholly in view."""
    width, height = FORMATS[rng.integers(len(FORMATS))] if size_px is None else size_px
    finest, coarsest = max(0.12, 125 / (0.9 * height)), min(0.55, 125 / (0.2 * height))
    scale = log_uniform(rng, finest, coarsest) if um_per_px is None else um_per_px
    need = _ZONE_C_UM / scale / 2 + 2
    room_x, room_y = max(width / 2 - need, 0.0), max(height / 2 - need, 0.0)
    shift = rng.normal(0, 0.35, 2) if rng.random() < 0.8 else rng.uniform(-1, 1, 2)
    x, y = np.clip(shift, -1, 1) * (room_x, room_y)
    gains = tuple(float(g) for g in rng.uniform(0.88, 1.0, 3))
    in_colour = rng.random() < 0.3 if colour is None else colour
    return Optics(
        width_px=width,
        height_px=height,
        um_per_px=scale,
        centre_px=((width - 1) / 2 + float(x), (height - 1) / 2 + float(y)),
        rotation_rad=float(rng.uniform(0, 2 * math.pi)),
        blur_um=log_uniform(rng, 0.3, 0.9),
        lamp=Lamp(float(rng.normal(0, 0.05)), float(rng.normal(0, 0.05)), float(rng.uniform(0.0, 0.15))),
        exposure=float(rng.uniform(150, 230)),
        shot_noise=float(rng.uniform(0.7, 3.0)),
        read_noise=float(rng.uniform(0.4, 1.5)),
        gamma=float(rng.uniform(0.85, 1.15)) if rng.random() < 0.25 else 1.0,
        colour=(gains[0], gains[1], gains[2]) if in_colour else None,
        jpeg_quality=int(rng.integers(80, 97)) if rng.random() < 0.2 else None,
    )


def random_fibre(rng: np.random.Generator, kind: FibreKind) -> Fibre:
    """Draw a fibre of a kind within the tolerances named at `Fibre`."""
    single = kind is FibreKind.SINGLE_MODE
    angle, away = rng.uniform(0, 2 * math.pi), rng.uniform(0, 0.6 if single else 2.0)
    nominal = {FibreKind.MULTIMODE_50: 50.0, FibreKind.MULTIMODE_62_5: 62.5}
    core = rng.uniform(8.2, 9.2) if single else nominal[kind] + rng.uniform(-2.5, 2.5)
    lit = rng.random() < 0.4
    step = rng.uniform(0.12, 0.5) if lit else rng.choice([-1, 1, 1]) * rng.uniform(0.01, 0.05)
    glue = rng.uniform(0.1, 0.6) if single else rng.uniform(0.3, 1.5)
    bore = rng.uniform(0, 0.6) * glue
    turn = rng.uniform(0, 2 * math.pi)
    return Fibre(
        kind=kind,
        cladding_diameter_um=float(125 + np.clip(rng.normal(0, 0.3), -0.69, 0.69)),
        core_diameter_um=float(core),
        core_offset_um=(float(away * math.cos(angle)), float(away * math.sin(angle))),
        core_step=float(step),
        core_edge=1.0 if single else float(rng.uniform(0.55, 1.0)),
        glue_width_um=float(glue),
        glue_depth=float(rng.uniform(0.25, 0.9)),
        bore_offset_um=(float(bore * math.cos(turn)), float(bore * math.sin(turn))),
    )


def _random_scene(rng: np.random.Generator, kind: FibreKind, ferrule_brighter: bool | None) -> Scene:
    """Draw a bare face.

    Zirconia reflects about four times what silica does (Fresnel, n = 2.15 to 2.2 and 1.46), and scatter and
    the scope's light bring that down, or turn it round.
    """
    bright_ferrule = rng.random() < 0.6 if ferrule_brighter is None else ferrule_brighter
    ratio = log_uniform(rng, 1.3, 4.0)
    tilted = rng.random() < 0.2
    return Scene(
        fibres=(random_fibre(rng, kind),),
        ferrule_level=1.0 if bright_ferrule else 1 / ratio,
        cladding_level=1 / ratio if bright_ferrule else 1.0,
        grain=float(rng.uniform(0.015, 0.06)),
        grain_um=log_uniform(rng, 0.3, 1.0),
        texture=float(rng.uniform(0.0, 0.005)),
        axis_ratio=float(1 / math.cos(math.radians(8))) if tilted else float(1 + abs(rng.normal(0, 0.002))),
        axis_angle_rad=float(rng.uniform(0, math.pi)),
    )


def _in_an_array(rng: np.random.Generator, scene: Scene, optics: Optics) -> tuple[Scene, Optics]:
    """Set the fibre into a rectangular ferrule of dark, coarse polymer.

    The fibres stand 250 µm apart (IEC 61754-7, from memory).
    """
    main = replace(scene.fibres[0], glue_width_um=float(rng.uniform(0.3, 1.5)))
    others = []
    for side in (-2, -1, 1, 2):
        other = random_fibre(rng, main.kind)
        at = (side * 250 + float(rng.normal(0, 0.3)), float(rng.normal(0, 0.3)))
        others.append(replace(other, centre_um=at, core_step=main.core_step, core_edge=main.core_edge))
    level = float(1 / rng.uniform(1.5, 4.0))
    scene = replace(
        scene,
        fibres=(main, *others),
        ferrule_level=level,
        cladding_level=1.0,
        grain=float(rng.uniform(0.05, 0.12)),
        grain_um=float(rng.uniform(0.8, 2.0)),
        axis_ratio=1.0,
        surface=Surface.ARRAY,
    )
    # The main fibre is the one nearest the middle of the frame.
    middle = np.array([(optics.width_px - 1) / 2, (optics.height_px - 1) / 2])
    off = np.asarray(optics.origin_px) - middle
    off *= min(1.0, 100 / optics.um_per_px / max(float(np.hypot(*off)), 1e-9))
    x, y = middle + off
    return scene, replace(optics, centre_px=(float(x), float(y)), rotation_rad=float(rng.normal(0, 0.05)))


def _with_camera_faults(rng: np.random.Generator, optics: Optics) -> Optics:
    """Add one or two of: dirt on the scope's glass, stuck pixels, row banding, fringes."""
    width, height = optics.width_px, optics.height_px
    chosen = rng.choice(4, int(rng.integers(1, 3)), replace=False)
    if 0 in chosen:
        spots = tuple(
            Spot(
                float(rng.uniform(0, width)),
                float(rng.uniform(0, height)),
                float(height * rng.uniform(0.01, 0.04)),
                float(rng.uniform(0.02, 0.08)),
            )
            for _ in range(int(rng.integers(1, 8)))
        )
        optics = replace(optics, spots=spots)
    if 1 in chosen:
        stuck = tuple(
            (int(rng.integers(width)), int(rng.integers(height)), float(rng.uniform(30, 200)))
            for _ in range(int(rng.integers(1, 25)))
        )
        optics = replace(optics, hot_pixels=stuck)
    if 2 in chosen:
        optics = replace(optics, banding=float(rng.uniform(0.2, 1.0)))
    if 3 in chosen:
        fringes = Fringes(
            float(rng.uniform(0.004, 0.02)),
            float(height * rng.uniform(0.05, 0.3)),
            float(rng.uniform(0, math.pi)),
            float(rng.uniform(0, 2 * math.pi)),
        )
        optics = replace(optics, fringes=fringes)
    return optics


def _not_saturated(scene: Scene, optics: Optics) -> Optics:
    """Turn the light down until neither a face nor a lit core is at the sensor's limit."""
    core = 1 + max(scene.fibres[0].core_step, 0.0)
    peak = max(scene.ferrule_level * (1 + 3 * scene.grain), scene.cladding_level * core)
    lean = 1 + 0.5 * (abs(optics.lamp.along_x) + abs(optics.lamp.along_y))
    return replace(optics, exposure=min(optics.exposure, 245.0 / (peak * lean)))


def _spoil(rng: np.random.Generator, fault: Fault, scene: Scene, optics: Optics) -> tuple[Scene, Optics]:
    """Spoil a good picture in the way that is asked for."""
    if fault is Fault.DEFOCUSED:
        return scene, replace(optics, blur_um=log_uniform(rng, 3, 15))
    if fault is Fault.BLACK:
        return scene, replace(optics, exposure=float(rng.uniform(0, 10)))
    if fault is Fault.BURNT_OUT:
        return scene, replace(optics, exposure=float(rng.uniform(1.35, 2.5)) * 255 / scene.cladding_level)
    if fault is Fault.NO_FIBRE:
        return _without_fibre(rng, optics, scene)
    return scene, replace(optics, centre_px=_cut_off_centre(rng, optics))


def _cut_off_centre(rng: np.random.Generator, optics: Optics) -> tuple[float, float]:
    """Draw a cladding centre such that a side or a corner of the frame cuts 4 % to 65 % off the diameter."""
    radius = 62.5 / optics.um_per_px
    width, height = optics.width_px, optics.height_px
    x, y = optics.origin_px
    into = radius * (
        1 - 2 * rng.uniform(0.04, 0.65, 2)
    )  # from frame edge to centre; negative: centre outside
    side = int(rng.integers(8))
    if side in (0, 4, 5):
        x = into[0]
    if side in (1, 6, 7):
        x = width - 1 - into[0]
    if side in (2, 4, 6):
        y = into[1]
    if side in (3, 5, 7):
        y = height - 1 - into[1]
    return float(x), float(y)


def _without_fibre(rng: np.random.Generator, optics: Optics, scene: Scene) -> tuple[Scene, Optics]:
    """Draw a picture without a fibre: a dirty bare ferrule, round clutter, an empty field, or a dust cap."""
    field_um = min(optics.width_px, optics.height_px) * optics.um_per_px
    bare = replace(scene, fibres=(), ferrule_level=1.0, axis_ratio=1.0)
    which = int(rng.choice(4, p=[0.3, 0.4, 0.15, 0.15]))
    if which == 0:
        dirt = random_features(rng, Contents.MIXED, field_um / 2)
        return replace(bare, features=tuple(dirt)), optics
    if which == 1:
        dirt = round_clutter(rng, field_um)
        dirt += random_features(rng, Contents.PARTICLES, field_um / 2)
        return replace(bare, features=tuple(dirt)), optics
    if which == 2:
        empty = replace(bare, surface=Surface.BLANK, grain=float(rng.uniform(0.0, 0.01)), features=())
        return empty, replace(optics, blur_um=log_uniform(rng, 1, 10), exposure=float(rng.uniform(30, 220)))
    return dust_cap(rng, bare, field_um), replace(optics, blur_um=log_uniform(rng, 2, 20))


def dust_cap(rng: np.random.Generator, scene: Scene, field_um: float) -> Scene:
    """Draw the inside of a dust cap: coarse dark plastic with broad turning marks, far out of focus."""
    at = place(rng, field_um * 0.3)
    marks = []
    for radius in np.cumsum(rng.uniform(0.06, 0.25, 8)) * field_um:
        contrast = float(rng.normal(0, 0.08))
        soft = float(field_um * rng.uniform(0.01, 0.04))
        layer = Layer(as_outline(circle(at, 2 * float(radius))), contrast, soft_um=soft)
        marks.append(SceneFeature(Form.DEFECT, Cause.UNKNOWN, contrast, layer.outline_um, (layer,)))
    return replace(
        scene,
        surface=Surface.CAP,
        ferrule_level=float(rng.uniform(0.15, 0.6)),
        grain=float(rng.uniform(0.05, 0.15)),
        grain_um=float(rng.uniform(2, 6)),
        features=tuple(marks),
    )
