"""The connectors that come to a bench, and what cleaning does to them.

Proportions and odds are invented for practice: about a third come clean, most of the others need cleaning,
and some are damaged for good. Cleaning takes only what is removable.
"""

from dataclasses import replace
from enum import Enum

import numpy as np

from workstation.simulator import deposits
from workstation.simulator.random_contents import Contents, place, random_features
from workstation.simulator.random_faces import random_fibre
from workstation.simulator.scene import FibreKind, Scene, SceneFeature, Surface
from workstation.values import Cause


class Cleaning(Enum):
    """How a face is cleaned."""

    DRY = "dry"
    WET = "wet"


_STAYS = {  # odds that a removable thing survives one cleaning; invented
    Cleaning.DRY: {Cause.LOOSE_DUST: 0.2, Cause.SKIN_OIL: 0.6, Cause.DRIED_RESIDUE: 0.8, Cause.FILM: 0.7},
    Cleaning.WET: {Cause.LOOSE_DUST: 0.06, Cause.SKIN_OIL: 0.08, Cause.DRIED_RESIDUE: 0.2, Cause.FILM: 0.15},
}
_LEAVES_A_RING = 0.12
_SMEARS = 0.25
_DIRT = (Contents.PARTICLES, Contents.OIL, Contents.STREAK, Contents.RESIDUE, Contents.FILM)
_DAMAGE = (Contents.SCRATCHES, Contents.PITS, Contents.CHIPS, Contents.ADHESIVE)


def random_connector(rng: np.random.Generator, kind: FibreKind) -> Scene:
    """Draw a connector's face as it comes to the bench."""
    bright_ferrule = rng.random() < 0.75
    ratio = float(rng.uniform(1.8, 3.2))
    fibre = random_fibre(rng, kind)
    if rng.random() < 0.85:  # the far end is dark, as it should be
        fibre = replace(fibre, core_step=float(np.clip(fibre.core_step, -0.05, 0.05)))
    scene = Scene(
        fibres=(fibre,),
        ferrule_level=1.0 if bright_ferrule else 1 / ratio,
        cladding_level=1 / ratio if bright_ferrule else 0.8,
        grain=float(rng.uniform(0.015, 0.035)),
        grain_um=float(rng.uniform(0.35, 0.7)),
        texture=0.002,
        axis_ratio=float(1 + abs(rng.normal(0, 0.001))),
    )
    chance = rng.random()
    found: list[SceneFeature] = []
    if chance > 0.85 or 0.6 < chance < 0.7:
        damage = _DAMAGE[rng.integers(len(_DAMAGE))]
        found += random_features(rng, damage, 90.0, fibre.cladding_diameter_um / 2)
    if 0.33 < chance < 0.9:
        found += random_features(rng, Contents.PARTICLES, 125.0)
        if rng.random() < 0.5:
            found += random_features(rng, _DIRT[rng.integers(len(_DIRT))], 90.0)
    return replace(scene, features=tuple(found))


def nothing_inserted() -> Scene:
    """Return what the scope sees without a connector: a dim, far-away inside of its adapter."""
    return Scene(fibres=(), ferrule_level=0.12, grain=0.3, grain_um=6.0, surface=Surface.BLANK)


def cleaned(scene: Scene, how: Cleaning, rng: np.random.Generator) -> Scene:
    """Return the scene after one cleaning; damage and adhesive are the same objects as before.

    A dry wipe may smear oil into a streak. A wet one may leave the ring of a dried drop, mostly off the core.
    """
    odds = _STAYS[how]
    left: list[SceneFeature] = []
    for feature in scene.features:
        if not feature.removable or rng.random() < odds.get(feature.cause, 0.5):
            left.append(feature)
        elif how is Cleaning.DRY and feature.cause is Cause.SKIN_OIL and rng.random() < _SMEARS:
            at = np.asarray(feature.outline_um).mean(axis=0)
            smear = (float(at[0]), float(at[1]))
            left.append(deposits.streak(rng, smear, rng.uniform(15, 50), rng.uniform(2, 6)))
    if how is Cleaning.WET and rng.random() < _LEAVES_A_RING:
        left.append(deposits.residue_ring(rng, place(rng, 70), rng.uniform(10, 45)))
    return replace(scene, features=tuple(left))
