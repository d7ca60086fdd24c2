"""What lies on a face, by chance: each kind of dirt and damage in numbers and sizes that a bench sees."""

import math
from enum import Enum

import numpy as np

from workstation.simulator import deposits, features
from workstation.simulator.scene import SceneFeature


class Contents(Enum):
    """What is on the face."""

    CLEAN = "clean"
    PARTICLES = "particles"
    SCRATCHES = "scratches"
    PITS = "pits"
    CHIPS = "chips"
    OIL = "oil"
    STREAK = "streak"
    RESIDUE = "residue"
    ADHESIVE = "adhesive"
    FILM = "film"
    MIXED = "mixed"


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """Draw a number whose logarithm is even between those of the bounds."""
    return float(math.exp(rng.uniform(math.log(low), math.log(high))))


def place(rng: np.random.Generator, reach_um: float) -> tuple[float, float]:
    """Draw a place, evenly over the disc of this radius."""
    r, angle = reach_um * math.sqrt(rng.random()), rng.uniform(0, 2 * math.pi)
    return float(r * math.cos(angle)), float(r * math.sin(angle))


def any_contents(rng: np.random.Generator) -> Contents:
    """Draw a kind of contents; clean, dust, scratches and mixtures are the most common."""
    kinds = list(Contents)
    weights = {Contents.CLEAN: 4, Contents.PARTICLES: 4, Contents.SCRATCHES: 3, Contents.MIXED: 6}
    chances = np.array([weights.get(kind, 1) for kind in kinds], dtype=np.float64)
    return kinds[int(rng.choice(len(kinds), p=chances / chances.sum()))]


def random_features(
    rng: np.random.Generator, what: Contents, reach_um: float = 125.0, radius_um: float = 62.5
) -> list[SceneFeature]:
    """Draw what is on a face.

    Parameters
    ----------
    rng
        Drawn from.
    what
        The kind; a mixture holds two to four other kinds.
    reach_um
        Loose dirt lies within this distance of the centre.
    radius_um
        Radius of the cladding, where chips and adhesive sit.

    Returns
    -------
    list of SceneFeature
        Damage first, so that dirt lies on top of it.
    """
    if what is Contents.CLEAN:
        return []
    if what is not Contents.MIXED:
        return _of_kind(rng, what, reach_um, radius_um)
    kinds = [kind for kind in Contents if kind not in (Contents.CLEAN, Contents.MIXED)]
    chances = np.array([{Contents.PARTICLES: 4, Contents.SCRATCHES: 3}.get(kind, 1) for kind in kinds], float)
    chosen = rng.choice(len(kinds), int(rng.integers(2, 5)), replace=False, p=chances / chances.sum())
    found = [one for index in chosen for one in _of_kind(rng, kinds[index], reach_um, radius_um)]
    return sorted(found, key=lambda one: one.removable)


def _of_kind(
    rng: np.random.Generator, what: Contents, reach_um: float, radius_um: float
) -> list[SceneFeature]:
    turn = float(rng.uniform(0, 2 * math.pi))
    match what:
        case Contents.PARTICLES:
            count = int(rng.integers(1, 16))
            sizes = [log_uniform(rng, 1.5, 15) for _ in range(count)]
            return [features.dust(rng, place(rng, reach_um), size) for size in sizes]
        case Contents.PITS:
            count = int(rng.integers(1, 5))
            return [features.pit(rng, place(rng, 60), log_uniform(rng, 1, 8)) for _ in range(count)]
        case Contents.CHIPS:
            count = int(rng.integers(1, 4))
            return [
                features.edge_chip(rng, turn + 2.1 * i, log_uniform(rng, 3, 18), radius_um)
                for i in range(count)
            ]
        case Contents.SCRATCHES:
            return random_scratches(rng)
        case Contents.OIL:
            if rng.random() < 0.5:
                return deposits.droplets(
                    rng, place(rng, 70), int(rng.integers(3, 14)), log_uniform(rng, 4, 12)
                )
            return [
                deposits.droplet(rng, place(rng, 90), log_uniform(rng, 3, 25))
                for _ in range(int(rng.integers(1, 5)))
            ]
        case Contents.STREAK:
            return [deposits.streak(rng, place(rng, 60), log_uniform(rng, 40, 150), log_uniform(rng, 4, 15))]
        case Contents.RESIDUE:
            count = int(rng.integers(1, 4))
            return [deposits.residue_ring(rng, place(rng, 75), log_uniform(rng, 8, 80)) for _ in range(count)]
        case Contents.ADHESIVE:
            count = int(rng.integers(1, 4))
            return [
                deposits.adhesive(rng, turn + 2.0 * i, log_uniform(rng, 8, 50), radius_um)
                for i in range(count)
            ]
        case _:
            return [deposits.film(rng, place(rng, 50), log_uniform(rng, 20, 80))]


def random_scratches(rng: np.random.Generator) -> list[SceneFeature]:
    """Draw scratches: mostly fine and long, straight or bowed, sometimes in families; wide ones are rare."""
    found: list[SceneFeature] = []
    if rng.random() < 0.25:
        found += features.fine_scratches(
            rng, place(rng, 40), int(rng.integers(3, 8)), log_uniform(rng, 40, 140)
        )
    for _ in range(int(rng.integers(1, 5))):
        middle, angle = place(rng, 55), rng.uniform(0, 2 * math.pi)
        width = min(log_uniform(rng, 0.3, 2.0) if rng.random() < 0.75 else log_uniform(rng, 1.5, 4.0), 4.0)
        length = log_uniform(rng, max(12.0, 14 * width), 220)
        step = length / 2 * math.cos(angle), length / 2 * math.sin(angle)
        start, end = (middle[0] - step[0], middle[1] - step[1]), (middle[0] + step[0], middle[1] + step[1])
        bow = float(rng.normal(0, 0.05) * length) if rng.random() < 0.6 else 0.0
        found.append(features.scratch(rng, start, end, width, bow_um=bow))
    return found


def round_clutter(rng: np.random.Generator, field_um: float) -> list[SceneFeature]:
    """Draw round drops and dried rings about as large in the picture as a cladding would be."""
    found: list[SceneFeature] = []
    for _ in range(int(rng.integers(1, 4))):
        at = place(rng, field_um * 0.35)
        size = field_um * rng.uniform(0.2, 0.8)
        if rng.random() < 0.5:
            found.append(deposits.residue_ring(rng, at, size))
        else:
            found.append(deposits.big_round_droplet(rng, at, size))
    return found
