"""Soft things on an end face: skin oil, dried residue, adhesive, films.

Each function draws one kind, by chance, at a place in micrometres from the cladding's centre. How they look
under reflected light (lens-like droplets, rings where a drop dried, lobed dark adhesive) is common practice
without a source.
"""

import math

import numpy as np

from workstation.simulator import shapes
from workstation.simulator.scene import Layer, SceneFeature
from workstation.simulator.shapes import Place, Points, as_outline
from workstation.values import Cause, Form


def _scaled(points: Points, factor: float, shift: Place = (0.0, 0.0)) -> Points:
    middle = points.mean(axis=0)
    return np.asarray(middle + (points - middle) * factor + np.asarray(shift))


def droplet(
    rng: np.random.Generator, at: Place, size_um: float, contrast: float | None = None
) -> SceneFeature:
    """Return a droplet of skin oil: round and smooth, a dark rim around a lens that gathers the light."""
    if contrast is None:
        contrast = -rng.uniform(0.25, 0.6)
    body = shapes.blob(rng, at, size_um, roughness=0.05, harmonics=3, stretch=rng.uniform(1.0, 1.15))
    soft = min(0.35, size_um * 0.05)
    rim = max(0.55, 1 - rng.uniform(1.0, 2.2) / size_um * 2)
    inside = -contrast * rng.uniform(0.5, 0.85)
    layers = [
        Layer(as_outline(body), contrast, soft_um=soft),
        Layer(as_outline(_scaled(body, rim)), inside, soft_um=size_um * 0.04 + 0.15),
    ]
    if size_um > 5:
        turn = rng.uniform(0, 2 * math.pi)
        shift = size_um * 0.12 * math.cos(turn), size_um * 0.12 * math.sin(turn)
        shine = _scaled(body, rng.uniform(0.15, 0.35), shift)
        layers.append(Layer(as_outline(shine), rng.uniform(0.08, 0.35), soft_um=size_um * 0.04))
    return SceneFeature(
        Form.DEFECT, Cause.SKIN_OIL, contrast, as_outline(body), tuple(layers), removable=True
    )


def droplets(rng: np.random.Generator, at: Place, count: int, size_um: float) -> list[SceneFeature]:
    """Return a group of droplets that keep apart, from ``size_um`` downward."""
    group: list[tuple[Place, float]] = []
    for _ in range(8 * count):
        if len(group) == count:
            break
        size = size_um * rng.uniform(0.3, 1.0)
        spread = size_um * (0.8 + 0.4 * math.sqrt(count))
        x, y = np.asarray(at) + rng.normal(0, spread, 2)
        if all(math.dist((x, y), place) > 0.6 * (size + other) for place, other in group):
            group.append(((float(x), float(y)), float(size)))
    return [droplet(rng, place, size) for place, size in group]


def streak(rng: np.random.Generator, at: Place, length_um: float, width_um: float) -> SceneFeature:
    """Return a smear of skin oil: a soft band with finer smears along it."""
    steps = 61
    turn, bow = rng.uniform(0, 2 * math.pi), rng.normal(0, 0.06) * length_um
    share = np.linspace(-0.5, 0.5, steps)
    line = np.column_stack([share * length_um, bow * (1 - 4 * share**2)])
    rough = np.interp(np.arange(steps), np.arange(0, steps, 4), rng.normal(1, 0.25, 16))
    taper = np.sqrt(np.clip(1 - (2 * np.abs(share)) ** 3, 0.02, None))
    c, s = math.cos(turn), math.sin(turn)
    axes = np.array([[c, s], [-s, c]])
    contrast = -rng.uniform(0.12, 0.35) if rng.random() < 0.75 else rng.uniform(0.12, 0.3)
    outline = as_outline(shapes.stroke(line, width_um * np.clip(rough, 0.4, 1.5) * taper) @ axes + at)
    layers = [Layer(outline, contrast, soft_um=0.8, mottle=0.2, mottle_um=2.0)]
    for _ in range(int(rng.integers(4, 9))):
        low = int(rng.integers(4, steps // 2))
        high = int(rng.integers(low + 8, steps - 4))
        part = line[low:high] + np.array([0.0, rng.uniform(-0.3, 0.3) * width_um])
        fine = shapes.stroke(part, width_um * rng.uniform(0.03, 0.1)) @ axes + at
        layers.append(Layer(as_outline(fine), contrast * rng.uniform(-0.6, 0.2), soft_um=0.3))
    return SceneFeature(Form.DEFECT, Cause.SKIN_OIL, contrast, outline, tuple(layers), removable=True)


def residue_ring(rng: np.random.Generator, at: Place, size_um: float) -> SceneFeature:
    """Return the mark of a dried drop: a thin uneven ring, sometimes faintly filled."""
    corners = 144
    outer = shapes.blob(
        rng,
        at,
        size_um,
        roughness=rng.uniform(0.04, 0.14),
        harmonics=5,
        stretch=rng.uniform(1, 1.25),
        corners=corners,
    )
    nodes = np.arange(0, corners, 9)
    thick = np.interp(np.arange(corners), nodes, rng.uniform(0.4, 1.6, len(nodes)), period=corners)
    thick *= rng.uniform(0.7, 2.0) if size_um > 12 else size_um * 0.07
    middle = outer.mean(axis=0)
    away = np.hypot(*(outer - middle).T)
    inner = middle + (outer - middle) * (1 - np.minimum(thick / away, 0.5))[:, None]
    contrast = -rng.uniform(0.25, 0.6)
    layers = [Layer(as_outline(shapes.ring(outer, inner)), contrast, soft_um=0.2, mottle=0.3, mottle_um=1.0)]
    filled = rng.random() < 0.5
    if filled:
        fill = -rng.uniform(0.05, 0.12)
        layers.append(Layer(as_outline(inner), fill, soft_um=0.3, mottle=0.5, mottle_um=2.0))
    if rng.random() < 0.4 and size_um > 20:
        start, count = int(rng.integers(0, 60)), int(rng.integers(40, 84))
        band = shapes.stroke(_scaled(outer, rng.uniform(0.78, 0.9))[start : start + count], 0.7)
        layers.append(Layer(as_outline(band), contrast * 0.4, soft_um=0.3))
    return SceneFeature(
        Form.DEFECT,
        Cause.DRIED_RESIDUE,
        contrast,
        as_outline(outer),
        tuple(layers),
        hole_um=() if filled else as_outline(inner),
        removable=True,
    )


def adhesive(
    rng: np.random.Generator, turn_rad: float, length_um: float, radius_um: float = 62.5
) -> SceneFeature:
    """Return a patch of unpolished adhesive: dark and lobed, along and over the cladding's edge."""
    steps = 73
    half = length_um / radius_um / 2
    angle = turn_rad + np.linspace(-half, half, steps)
    nodes = np.arange(0, steps, 9)
    taper = np.sqrt(np.clip(1 - np.linspace(-1, 1, steps) ** 2, 0.0, None)) + 0.05
    thickness = min(6.0, length_um * 0.25)

    def side() -> Points:
        lobes = np.abs(rng.normal(1, 0.45, len(nodes))) + 0.15
        smooth = np.interp(np.arange(steps), nodes, lobes)
        for _ in range(2):
            smooth = np.convolve(np.pad(smooth, 3, mode="edge"), np.ones(7) / 7, mode="valid")
        return np.asarray(smooth * taper * thickness * rng.uniform(0.35, 1.0))

    outer, inner = radius_um + side(), radius_um - side()
    out = np.column_stack([outer * np.cos(angle), outer * np.sin(angle)])
    back = np.column_stack([inner * np.cos(angle), inner * np.sin(angle)])[::-1]
    outline = as_outline(np.concatenate([out, back]))
    contrast = -rng.uniform(0.45, 0.8)
    layers = (Layer(outline, contrast, soft_um=0.3, mottle=0.12, mottle_um=1.5),)
    return SceneFeature(Form.DEFECT, Cause.ADHESIVE, contrast, outline, layers)


def film(rng: np.random.Generator, at: Place, size_um: float, contrast: float | None = None) -> SceneFeature:
    """Return a thin film: large, faint, soft-edged; its outline is where half of its depth is reached."""
    if contrast is None:
        contrast = float(rng.choice([-1, -1, 1]) * rng.uniform(0.05, 0.15))
    points = shapes.blob(
        rng, at, size_um, roughness=0.3, harmonics=6, stretch=rng.uniform(1, 1.5), corners=96
    )
    outline = as_outline(points)
    soft = min(size_um * 0.05, rng.uniform(1.0, 3.0))
    inner = as_outline(_scaled(points, rng.uniform(0.5, 0.8)))
    layers = (
        Layer(outline, contrast, soft_um=soft, mottle=0.15, mottle_um=2.5),
        Layer(inner, -contrast * rng.uniform(0.1, 0.4), soft_um=soft),
    )
    return SceneFeature(Form.DEFECT, Cause.FILM, contrast, outline, layers, removable=True)


def big_round_droplet(rng: np.random.Generator, at: Place, size_um: float) -> SceneFeature:
    """Return a drop or smear of the size of a cladding: round to a few per cent, with a soft or thin rim."""
    body = shapes.blob(
        rng, at, size_um, roughness=0.035, harmonics=4, stretch=rng.uniform(1, 1.04), corners=144
    )
    contrast = float(rng.choice([-1, 1]) * rng.uniform(0.15, 0.45))
    rim = rng.uniform(0.94, 0.98)
    layers = (
        Layer(as_outline(body), contrast, soft_um=size_um * rng.uniform(0.006, 0.02)),
        Layer(as_outline(_scaled(body, rim)), -contrast * rng.uniform(0.6, 1.2), soft_um=size_um * 0.015),
    )
    return SceneFeature(Form.DEFECT, Cause.SKIN_OIL, contrast, as_outline(body), layers, removable=True)
