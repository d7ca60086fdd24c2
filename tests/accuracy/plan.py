"""Which faces the benchmark draws: a seed is a face, and says by itself what is drawn.

Seeds are split into ranges that share no number: one to develop with, one to report from, one for the gate
among the tests. In each, the first half holds good faces and the second half pictures that must be refused.
Choices such as format and fibre go round in shuffled blocks, so that any number of faces from a range's start
holds every choice in nearly its share.
"""

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from workstation.simulator.optics import Optics
from workstation.simulator.random_contents import Contents
from workstation.simulator.random_faces import FORMATS, Fault, random_case
from workstation.simulator.scene import FibreKind, Scene, SceneFeature
from workstation.simulator.truth import condition_of
from workstation.values import Cause

RANGES = {"develop": 1_000_000, "final": 2_000_000, "gate": 3_000_000}
FAULTY = 500_000  # from here on within a range the picture as a whole is spoilt
_ONCE = (Contents.PITS, Contents.CHIPS, Contents.OIL, Contents.STREAK, Contents.RESIDUE, Contents.ADHESIVE)
CONTENTS = (
    *(Contents.CLEAN,) * 5,
    *(Contents.PARTICLES,) * 3,
    *(Contents.SCRATCHES,) * 3,
    *(Contents.MIXED,) * 2,
    *_ONCE,
    Contents.FILM,
)
_FIBRES = (*(FibreKind.SINGLE_MODE,) * 3, FibreKind.MULTIMODE_50, FibreKind.MULTIMODE_62_5)
_SCALES = 8


@dataclass(frozen=True, slots=True)
class Planned:
    """One face of the plan: what to draw, and in words what it is."""

    seed: int
    contents: str
    fault: str
    camera_faults: bool
    scene: Scene
    optics: Optics


def seeds_of(range_name: str, good: int, faulty: int) -> list[int]:
    """Return the seeds of the first so many good and faulty pictures of a range."""
    first = RANGES[range_name]
    return [*range(first, first + good), *range(first + FAULTY, first + FAULTY + faulty)]


def planned(seed: int) -> Planned:
    """Draw scene and optics of one seed.

    Raises
    ------
    ValueError
        The seed lies in no range.
    """
    first = max((start for start in RANGES.values() if start <= seed < start + 2 * FAULTY), default=None)
    if first is None:
        raise ValueError(f"Seed {seed} lies in none of the ranges that start at {sorted(RANGES.values())}.")
    index = seed - first
    if index >= FAULTY:
        return _spoilt(seed, first, index - FAULTY)
    return _good(seed, first, index)


def _turn(first: int, name: str, index: int, count: int) -> int:
    """Return which of ``count`` choices this face has: each once in every block, in shuffled order."""
    block, at = divmod(index, count)
    return int(np.random.default_rng([first, zlib.crc32(name.encode()), block]).permutation(count)[at])


def _scale(size_px: tuple[int, int], share: float) -> float:
    """Return µm per pixel at this share of the (logarithmic) range that a format allows.

    The range is 0.12 to 0.55 µm, with the cladding between 20 % and 90 % of the frame's height.
    """
    finest, coarsest = max(0.12, 125 / (0.9 * size_px[1])), min(0.55, 125 / (0.2 * size_px[1]))
    return math.exp(math.log(finest) + share * (math.log(coarsest) - math.log(finest)))


def _good(seed: int, first: int, index: int) -> Planned:
    size = FORMATS[_turn(first, "format", index, len(FORMATS))]
    contents = CONTENTS[_turn(first, "contents", index, len(CONTENTS))]
    camera_faults = _turn(first, "camera faults", index, 5) < 2
    for attempt in range(100):
        rng = np.random.default_rng([seed, attempt])
        scene, optics = random_case(
            rng,
            contents=contents,
            fibre=_FIBRES[_turn(first, "fibre", index, len(_FIBRES))],
            ferrule_brighter=_turn(first, "polarity", index, 2) == 0,
            size_px=size,
            um_per_px=_scale(size, (_turn(first, "scale", index, _SCALES) + rng.random()) / _SCALES),
            colour=_turn(first, "colour", index, 10) < 3,
            array=_turn(first, "array", index, 25) == 0,
            camera_faults=camera_faults,
        )
        compressed = _turn(first, "compressed", index, 5) == 0
        optics = replace(optics, jpeg_quality=int(rng.integers(80, 97)) if compressed else None)
        if _turn(first, "core", index, 3) == 0:
            scene, optics = _with_core_step(scene, optics, float(rng.uniform(-0.05, 0.5)))
        if _turn(first, "brightness", index, 5) == 0:
            scene = replace(scene, features=tuple(_turned_over(one) for one in scene.features))
        if condition_of(scene, optics) == "good":
            return Planned(seed, contents.value, "", camera_faults, scene, optics)
    raise RuntimeError(f"No good face came of seed {seed} in 100 attempts.")


def _spoilt(seed: int, first: int, index: int) -> Planned:
    fault = list(Fault)[_turn(first, "fault", index, len(Fault))]
    size = FORMATS[_turn(first, "spoilt format", index, len(FORMATS))]
    scene, optics = random_case(np.random.default_rng([seed, 0]), fault=fault, size_px=size, array=False)
    return Planned(seed, "", fault.value, False, scene, optics)


def _with_core_step(scene: Scene, optics: Optics, step: float) -> tuple[Scene, Optics]:
    """Give the core another brightness, and turn the light down by as much as the core grew brighter."""
    before = scene.fibres[0].core_step
    fibres = (replace(scene.fibres[0], core_step=step), *scene.fibres[1:])
    dimmer = min(1.0, (1 + max(before, 0.0)) / (1 + max(step, 0.0)))
    return replace(scene, fibres=fibres), replace(optics, exposure=optics.exposure * dimmer)


def _turned_over(feature: SceneFeature) -> SceneFeature:
    """Make a dark particle or scratch bright, and a bright one dark."""
    if feature.cause not in (Cause.LOOSE_DUST, Cause.SCRATCH):
        return feature
    layers = tuple(replace(layer, contrast=-layer.contrast) for layer in feature.layers)
    return replace(feature, contrast=-feature.contrast, layers=layers)


def spread(values: Sequence[str]) -> dict[str, int]:
    """Count how often each value occurs, in the order of the alphabet."""
    return {value: values.count(value) for value in sorted(set(values))}
