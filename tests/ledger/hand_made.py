"""Readings and verdicts made by hand, for tests."""

import numpy as np
from numpy.typing import NDArray

from workstation.values import (
    Cause,
    Check,
    Core,
    CoreKind,
    CriteriaRef,
    Feature,
    Fit,
    Form,
    NoFit,
    NoFitReason,
    Occlusion,
    Outcome,
    Placed,
    Polarity,
    Readiness,
    Reading,
    ScaleSource,
    Verdict,
    ZoneResult,
)

CRITERIA = CriteriaRef(
    "sm-example", "Single-mode, an example", "No standard: an example", "Invented for tests", True
)
FIT = Fit(
    centre_px=(320.25, 239.75),
    cladding_diameter_px=312.5,
    um_per_px=0.4,
    scale_source=ScaleSource.CLADDING,
    scale_error=0.004,
    blur_um=0.61,
    polarity=Polarity.CLADDING_BRIGHTER,
    support=0.98,
    core=Core((320.3, 239.7), 9.1, 0.2, CoreKind.SINGLE_MODE),
)
SCRATCH = Feature(
    id=1,
    form=Form.SCRATCH,
    cause=Cause.SCRATCH,
    confidence=0.9,
    size_um=40.0,
    size_error_um=0.3,
    width_um=1.2,
    width_error_um=0.2,
    length_um=39.9,
    contrast=-0.3,
    centroid_um=(-12.5, 3.0),
    outline_um=((-30.0, 2.4), (5.0, 3.0), (-30.0, 3.6)),
    inner_um=8.0,
    outer_um=30.1,
)
DUST = Feature(
    id=2,
    form=Form.DEFECT,
    cause=Cause.LOOSE_DUST,
    confidence=0.7,
    size_um=6.25,
    size_error_um=0.2,
    width_um=5.0,
    width_error_um=0.2,
    length_um=6.0,
    contrast=-0.5,
    centroid_um=(30.0, -4.0),
    outline_um=((27.0, -4.0), (30.0, -7.0), (33.0, -4.0)),
    inner_um=27.2,
    outer_um=33.3,
)
SHARP = Check("blur", True, 0.61, 0.9, "µm")


def graded() -> tuple[Reading, Verdict]:
    """A face that fails by a particle in zone B."""
    reading = Reading(
        FIT,
        Readiness(0.61, 1.4, 0.8, (SHARP,)),
        (SCRATCH, DUST),
        (-128.1, -95.9, 127.9, 96.1),
        Occlusion(0.0125, 0.0546, 9.2),
    )
    zones = (
        ZoneResult("A", 0.0, 25.0, 1.0, 1, 0, ()),
        ZoneResult("B", 25.0, 115.0, 1.0, 0, 1, ("no defect larger than 5 µm",)),
    )
    verdict = Verdict(
        Outcome.FAIL,
        ("Zone B: 1 defect larger than 5 µm (feature 2); none is allowed.",),
        CRITERIA,
        zones,
        (Placed(1, "A", False, False), Placed(2, "B", True, True)),
        (SHARP, Check("smallest_visible", True, 1.4, 2.0, "µm")),
        "Clean the face dry and look again.",
        True,
    )
    return reading, verdict


def unreadable() -> tuple[Reading, Verdict]:
    """A black picture."""
    dark = Check("light", False, 1.5, 20.0, "grey levels", "Turn the lamp up.")
    message = "The picture is black. Turn the lamp up."
    reading = Reading(NoFit(NoFitReason.BLACK, message), Readiness(None, None, None, (dark,)), (), None, None)
    verdict = Verdict(Outcome.UNREADABLE, (message,), CRITERIA, (), (), (dark,), "Turn the lamp up.", False)
    return reading, verdict


def picture(seed: int = 0, shape: tuple[int, ...] = (480, 640)) -> NDArray[np.uint8]:
    """Noise, which no lossy store gives back."""
    return np.random.default_rng(seed).integers(0, 256, shape, np.uint8)
