"""What a picture can be asked for: what is in view, not hidden, above the noise; and the verdict it owes.

Rules (own choices; lengths in micrometres):

* In view: a defect when every point of its outline lies in the frame and within 124 of the centre; a scratch,
  which is judged by its width, when half of its outline does.
* Hidden: half or more of it covered by others at least half as deep.
* Contrast is what the sensor can record: a glint on a ferrule at grey level 230 cannot be 40 % brighter.
* Signal to noise: of the best linear filter (matched filter; Turin, IRE Trans. Inf. Theory 6, 1960, from
  memory) on the blurred feature in the sensor's noise and the surface's texture. Rose (J. Opt. Soc. Am. 38,
  1948, from memory) asks for about 5; below 8 a feature is listed as faint. Faint ones stay in every figure
  that doesn't say otherwise; the owed verdict must not hang on one.
* Touching: nearer than 1.0 or the blur's full width at half maximum (2.355 sigma).

The owed verdict is that of the true features without errors. It is too close to call where sizes 10 % or 0.3
away (whichever is more), places 0.3 nearer or further, a faint, hidden or half-seen feature more or less, or
touching defects taken as one, could change it.
"""

import math
from dataclasses import dataclass, replace

import numpy as np

from tests.accuracy.matching import Area, area_of, common, gap_um
from workstation.criteria import Criteria, judge
from workstation.criteria.counting import Cell, Standing, place, weigh
from workstation.simulator import shapes
from workstation.simulator.optics import Optics
from workstation.simulator.scene import Scene
from workstation.simulator.truth import TrueFeature, Truth, View
from workstation.values import (
    Feature,
    Fit,
    Form,
    Outcome,
    Polarity,
    Readiness,
    Reading,
    ScaleSource,
)

CONTACT_UM = 125.0
_MARGIN_UM = 1.0
FAINT_SNR = 8.0
TOO_CLOSE = "too close to call"
_ZONES = (("A", 12.5), ("B", 57.5), ("C", 67.5), ("D", 125.0))  # default criteria, radii


@dataclass(frozen=True, slots=True, eq=False)
class Known:
    """One true feature and what can be asked of the picture about it.

    ``seen`` is the share of its outline in view; ``why_not`` is empty for a findable feature.
    """

    feature: TrueFeature
    area: Area
    contrast: float
    snr: float
    seen: float
    covered: float
    touching: frozenset[int]

    @property
    def why_not(self) -> str:
        least = 0.5 if self.feature.form is Form.SCRATCH else 1.0
        if self.seen < least:
            return "out of view"
        return "hidden" if self.covered >= 0.5 else ""

    @property
    def zone(self) -> str:
        return next((letter for letter, radius in _ZONES if self.feature.inner_um <= radius), "outside")


def known(scene: Scene, optics: Optics, truth: Truth) -> list[Known]:
    """Work out, for every true feature, what the picture can be asked about it."""
    view = View.of(scene, optics)
    areas = []
    for one, source in zip(truth.features, scene.features, strict=True):
        hole = view.image_um(np.asarray(source.hole_um)) if source.hole_um else None
        areas.append(area_of(np.asarray(one.outline_um), hole))
    touch_um = max(1.0, 2.355 * truth.blur_um)
    near = [
        {j for j, other in enumerate(areas) if j != i and _boxes_near(one, other, touch_um)
         and gap_um(one, other) < touch_um}
        for i, one in enumerate(areas)
    ]  # fmt: skip
    found = []
    for i, (feature, area) in enumerate(zip(truth.features, areas, strict=True)):
        contrast, level = _recordable(feature, scene, optics)
        covers = [areas[j] for j in near[i] if abs(truth.features[j].contrast) >= 0.5 * abs(feature.contrast)]
        found.append(
            Known(
                feature,
                area,
                contrast,
                _snr(feature, area, contrast, level, scene, optics),
                _seen(area, truth),
                _covered(area, covers),
                frozenset(near[i]),
            )
        )
    return found


def _boxes_near(one: Area, other: Area, reach: float) -> bool:
    low, high = one.outline_um.min(axis=0) - reach, one.outline_um.max(axis=0) + reach
    return bool((other.outline_um.max(axis=0) >= low).all() and (other.outline_um.min(axis=0) <= high).all())


def _covered(area: Area, others: list[Area]) -> float:
    whole = float(area.solid.values.sum())
    if whole == 0 or not others:
        return 0.0
    return min(1.0, sum(common(area.solid, other.solid) for other in others) / whole)


def _seen(area: Area, truth: Truth) -> float:
    if truth.centre_px is None:
        return 0.0
    px = area.outline_um / truth.um_per_px + np.asarray(truth.centre_px)
    inside = (px >= 0).all(axis=1) & (px[:, 0] <= truth.width_px - 1) & (px[:, 1] <= truth.height_px - 1)
    inside &= np.hypot(*area.outline_um.T) <= CONTACT_UM - _MARGIN_UM
    return float(inside.mean())


def _recordable(feature: TrueFeature, scene: Scene, optics: Optics) -> tuple[float, float]:
    """Return the contrast that 8 bits can hold, and the grey level around the feature."""
    fibre = scene.fibre
    relative = scene.ferrule_level
    if fibre is not None and feature.inner_um < fibre.cladding_diameter_um / 2 - 0.5:
        relative = scene.cladding_level
        if feature.outer_um < fibre.core_diameter_um / 2:
            relative *= 1 + fibre.core_step
    level = min(optics.exposure * relative, 255.0)
    return max(-1.0, min(feature.contrast, 255.0 / level - 1.0)), level


def _snr(
    feature: TrueFeature, area: Area, contrast: float, level: float, scene: Scene, optics: Optics
) -> float:
    sensor = (optics.shot_noise**2 * level / 255 + optics.read_noise**2 + 1 / 12) * optics.um_per_px**2
    if optics.colour is not None:
        sensor *= 0.45  # grey is 0.299 red + 0.587 green + 0.114 blue (ITU-R BT.601): squares add up to 0.447
    on_glass = scene.fibre is not None and feature.inner_um < 62.0
    grain = level * (scene.texture if on_glass else scene.grain)
    blur = optics.blur_um
    if feature.form is Form.SCRATCH:
        spread = feature.width_um + 2 * math.sqrt(math.pi) * blur
        energy = feature.length_um * feature.width_um**2 / spread
        coarse = spread / (spread + 2 * math.sqrt(math.pi) * scene.grain_um)
    else:
        spread = area.size_um2 + 4 * math.pi * blur**2
        energy = area.size_um2**2 / spread
        coarse = spread / (spread + 4 * math.pi * scene.grain_um**2)
    # grain coarser than the feature hardly differs across it: its mean can't vary more than the grain itself
    surface = grain**2 * 4 * math.pi * scene.grain_um**2 * coarse
    return level * abs(contrast) * math.sqrt(energy / (sensor + surface))


def _as_feature(number: int, one: TrueFeature) -> Feature:
    return Feature(
        number, one.form, one.cause, 1.0, one.size_um, 0.0, one.width_um, 0.0, one.length_um, one.contrast,
        one.centroid_um, one.outline_um, one.inner_um, one.outer_um,
    )  # fmt: skip


def _groups(all_known: list[Known]) -> list[set[int]]:
    """Return the defects by connected contact; scratches stay alone."""
    groups: list[set[int]] = []
    for i, one in enumerate(all_known):
        if one.feature.form is Form.SCRATCH:
            groups.append({i})
            continue
        mine = {i} | {j for j in one.touching if all_known[j].feature.form is Form.DEFECT}
        for group in [g for g in groups if g & mine]:
            groups.remove(group)
            mine |= group
        groups.append(mine)
    return groups


def _united(group: set[int], all_known: list[Known]) -> tuple[Feature, bool]:
    """Return a group as one feature, and whether it may fail to show."""
    parts = [all_known[i] for i in sorted(group)]
    unsure = all(part.snr < FAINT_SNR or part.covered >= 0.5 or part.seen < 1.0 for part in parts)
    one = _as_feature(min(group) + 1, parts[0].feature)
    if len(parts) > 1:
        points = np.concatenate([part.area.outline_um for part in parts])
        _, size = shapes.smallest_circle(points)
        nearest = min(part.feature.inner_um for part in parts)
        one = replace(one, size_um=float(size), inner_um=nearest)
    return one, unsure


def _loose(one: Feature, unsure: bool, criteria: Criteria) -> Standing:
    """Return where a feature could stand if the truth were a little different."""
    size = one.width_um if one.form is Form.SCRATCH else one.size_um
    slack = max(0.1 * size, 0.3)
    could: set[Cell | None] = set()
    for by in (-slack, 0.0, slack):
        for shift in (-0.3, 0.0, 0.3):
            other = max(size + by, 0.0)
            moved = replace(one, size_um=other, width_um=other, inner_um=max(one.inner_um + shift, 0.0))
            could |= place(moved, criteria).could
    if unsure:
        could.add(None)
    return Standing(one, place(one, criteria).cell, frozenset(could))


def owed(all_known: list[Known], truth: Truth, criteria: Criteria) -> str:
    """Return the verdict that the true features owe: pass, fail, unreadable, or too close to call."""
    if truth.condition != "good" or truth.centre_px is None or truth.cladding_diameter_px is None:
        return Outcome.UNREADABLE.value
    there = [i for i, one in enumerate(all_known) if one.seen > 0 and one.feature.inner_um <= CONTACT_UM]
    apart, together = [{i} for i in there], [g & set(there) for g in _groups(all_known) if g & set(there)]
    outcomes = set()
    for groups in (apart, together):
        united = [_united(group, all_known) for group in groups]
        outcomes.add(weigh([_loose(one, unsure, criteria) for one, unsure in united]))
        outcomes.add(_judged(tuple(one for one, _ in united), truth, criteria))
    if len(outcomes) > 1 or Outcome.BORDERLINE in outcomes:
        return TOO_CLOSE
    return outcomes.pop().value


def _judged(features: tuple[Feature, ...], truth: Truth, criteria: Criteria) -> Outcome:
    """Judge the true features as if they had been read without error from a picture of the whole face."""
    assert truth.centre_px is not None
    assert truth.cladding_diameter_px is not None
    polarity = Polarity.FERRULE_BRIGHTER if truth.ferrule_brighter else Polarity.CLADDING_BRIGHTER
    fit = Fit(
        truth.centre_px, truth.cladding_diameter_px, truth.um_per_px, ScaleSource.GIVEN, 0.0, truth.blur_um,
        polarity, 1.0,
    )  # fmt: skip
    readiness = Readiness(truth.blur_um, 0.0, 0.0, ())
    reading = Reading(fit, readiness, features, (-CONTACT_UM, -CONTACT_UM, CONTACT_UM, CONTACT_UM), None)
    return judge(reading, criteria).outcome
