"""What lies on an end face or has happened to it: each function draws one kind, at a place, by chance.

All take a random generator and a place in micrometres from the cladding's centre. Sizes are diameters of the
smallest enclosing circle. Typical dust is 2 to 15 µm (trade figure); other sizes and depths are common
practice without a source.
"""

import math

import numpy as np

from workstation.simulator import shapes
from workstation.simulator.scene import Layer, SceneFeature
from workstation.simulator.shapes import Place, Points, as_outline
from workstation.values import Cause, Form


def dust(rng: np.random.Generator, at: Place, size_um: float, contrast: float | None = None) -> SceneFeature:
    """Return a loose particle: dark, seldom bright, angular or rounded, large ones with a glint."""
    if contrast is None:
        contrast = -rng.uniform(0.35, 0.85) if rng.random() < 0.88 else rng.uniform(0.35, 1.2)
    if rng.random() < 0.5:
        points = shapes.angular(rng, at, size_um, int(rng.integers(5, 9)))
    else:
        points = shapes.blob(rng, at, size_um, roughness=0.25, stretch=rng.uniform(1.0, 1.6))
    mottle = 0.25 if size_um > 4 else 0.0
    soft = 0.25 if size_um > 5 else 0.0
    layers = [Layer(as_outline(points), contrast, soft_um=soft, mottle=mottle, mottle_um=0.8)]
    if size_um > 6 and contrast < -0.3 and rng.random() < 0.5:
        middle = np.asarray(at) + rng.normal(0, size_um * 0.1, 2)
        glint = shapes.blob(rng, (middle[0], middle[1]), size_um * rng.uniform(0.12, 0.25))
        layers.append(Layer(as_outline(glint), -contrast * rng.uniform(0.4, 1.0), soft_um=0.3))
    return SceneFeature(
        Form.DEFECT, Cause.LOOSE_DUST, contrast, as_outline(points), tuple(layers), removable=True
    )


def pit(rng: np.random.Generator, at: Place, size_um: float, contrast: float | None = None) -> SceneFeature:
    """Return a pit in the glass: dark, irregular, sometimes with a bright floor."""
    if contrast is None:
        contrast = -rng.uniform(0.4, 0.85)
    points = shapes.blob(rng, at, size_um, roughness=0.22, harmonics=8, stretch=rng.uniform(1.0, 1.3))
    layers = [Layer(as_outline(points), contrast)]
    if size_um > 3.5 and rng.random() < 0.4:
        floor = np.asarray(at) + (points - np.asarray(at)) * rng.uniform(0.3, 0.5)
        layers.append(Layer(as_outline(floor), -contrast * rng.uniform(0.2, 0.6), soft_um=0.3))
    return SceneFeature(Form.DEFECT, Cause.PIT_OR_CHIP, contrast, as_outline(points), tuple(layers))


def scratch_line(
    start: Place, end: Place, bow_um: float = 0.0, points: int = 41, wander: Points | None = None
) -> Points:
    """Return the middle line of a scratch: an arc from start to end that bows sideways by ``bow_um``."""
    a, b = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
    share = np.linspace(0.0, 1.0, points)
    along = b - a
    across = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9)
    side = bow_um * 4 * share * (1 - share)
    if wander is not None:
        side = side + wander
    return a + share[:, None] * along + side[:, None] * across


def scratch(
    rng: np.random.Generator,
    start: Place,
    end: Place,
    width_um: float,
    contrast: float | None = None,
    bow_um: float = 0.0,
) -> SceneFeature:
    """Return a scratch: dark or bright, its width a little uneven and running out to points at both ends."""
    if contrast is None:
        contrast = -rng.uniform(0.2, 0.7) if rng.random() < 0.7 else rng.uniform(0.2, 0.6)
        if width_um > 1.5:  # a wide groove has a floor, and shows less than its edges promise
            contrast *= 0.7
    steps = 41
    wander = np.cumsum(rng.normal(0, 0.01, steps)) * math.sqrt(math.dist(start, end))
    wander -= np.linspace(wander[0], wander[-1], steps)
    line = scratch_line(start, end, bow_um, steps, wander * 0.3)
    uneven = 1 + 0.15 * np.interp(np.arange(steps), np.arange(0, steps, 5), rng.normal(0, 1, 9))
    ends = np.minimum(1.0, np.minimum(np.arange(steps), np.arange(steps)[::-1]) / 3 + 0.15)
    width = np.clip(uneven, 0.6, 1.4) * ends
    length = shapes.line_length(line)
    points = shapes.stroke(line, width * width_um)
    points = shapes.stroke(line, width * (width_um * width_um * length / shapes.area(points)))
    outline = as_outline(points)
    return SceneFeature(
        Form.SCRATCH,
        Cause.SCRATCH,
        contrast,
        outline,
        (Layer(outline, contrast, mottle=0.2 if width_um > 1.2 else 0.0, mottle_um=0.7),),
        width_um=shapes.area(points) / length,
        length_um=length,
    )


def fine_scratches(rng: np.random.Generator, at: Place, count: int, length_um: float) -> list[SceneFeature]:
    """Return a family of nearly parallel fine scratches, as a grain dragged over the face leaves them."""
    turn, family = rng.uniform(0, 2 * math.pi), []
    for _ in range(count):
        angle = turn + rng.normal(0, 0.03)
        half = length_um * rng.uniform(0.3, 0.5)
        x, y = np.asarray(at) + rng.normal(0, length_um * 0.12, 2)
        step = half * math.cos(angle), half * math.sin(angle)
        contrast = float(rng.choice([-1, 1]) * rng.uniform(0.15, 0.4))
        width = float(rng.uniform(0.3, 0.8))
        family.append(scratch(rng, (x - step[0], y - step[1]), (x + step[0], y + step[1]), width, contrast))
    return family


def edge_chip(
    rng: np.random.Generator, turn_rad: float, size_um: float, radius_um: float = 62.5
) -> SceneFeature:
    """Return a chip at the cladding's edge: it follows the edge and bites a jagged shell out of it."""
    half = size_um / 2 / radius_um
    steps = 33
    angle = turn_rad + np.linspace(-half, half, steps)
    share = np.linspace(-1, 1, steps)
    rough = np.interp(np.arange(steps), np.arange(0, steps, 4), rng.normal(1, 0.18, 9))
    bite = (
        size_um * rng.uniform(0.25, 0.55) * np.clip(1 - share**2, 0.0, None) ** 0.6 * np.clip(rough, 0.5, 1.5)
    )
    edge = radius_um + 0.3
    out = np.column_stack([edge * np.cos(angle), edge * np.sin(angle)])
    inner = (edge - bite)[::-1]
    back = np.column_stack([inner * np.cos(angle[::-1]), inner * np.sin(angle[::-1])])
    points = np.concatenate([out, back[1:-1]])
    outline = as_outline(points)
    contrast = -rng.uniform(0.45, 0.85)
    layers = [Layer(outline, contrast, mottle=0.12, mottle_um=0.6)]
    if size_um > 5:
        middle = np.asarray(shapes.centroid(points))
        facet = as_outline(middle + (points - middle) * rng.uniform(0.35, 0.55))
        layers.append(Layer(facet, -contrast * rng.uniform(0.2, 0.7), soft_um=0.3))
    return SceneFeature(Form.DEFECT, Cause.PIT_OR_CHIP, contrast, outline, tuple(layers))
