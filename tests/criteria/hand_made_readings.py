"""Readings made by hand: what measurement would have found, without a picture."""

from collections.abc import Sequence
from math import cos, sin
from typing import Any

from workstation.values import (
    Cause,
    Check,
    Core,
    CoreKind,
    Feature,
    Fit,
    Form,
    NoFit,
    Occlusion,
    Polarity,
    Readiness,
    Reading,
    ScaleSource,
)

WHOLE_VIEW = (-160.0, -130.0, 160.0, 130.0)
CHECK_MET = Check("focus", True, 0.6, 1.0, "µm", "Turn the focus knob until the edge is sharp.")
CHECK_UNMET = Check("focus", False, 1.6, 1.0, "µm", "Turn the focus knob until the edge is sharp.")


def feature(
    size_um: float,
    at_um: float,
    *,
    id_: int = 1,
    form: Form = Form.DEFECT,
    error_um: float = 0.0,
    cause: Cause = Cause.LOOSE_DUST,
    confidence: float = 0.9,
    angle_rad: float = 0.0,
) -> Feature:
    """One feature whose judged size is ``size_um``, its innermost point ``at_um`` from the centre."""
    x, y = cos(angle_rad), sin(angle_rad)
    scratch = form is Form.SCRATCH
    length = 40.0 if scratch else size_um
    return Feature(
        id=id_,
        form=form,
        cause=Cause.SCRATCH if scratch and cause is Cause.LOOSE_DUST else cause,
        confidence=confidence,
        size_um=length,
        size_error_um=error_um,
        width_um=size_um,
        width_error_um=error_um,
        length_um=length,
        contrast=-0.4,
        centroid_um=((at_um + length / 2) * x, (at_um + length / 2) * y),
        outline_um=((at_um * x, at_um * y), ((at_um + length) * x, (at_um + length) * y)),
        inner_um=at_um,
        outer_um=at_um + length,
    )


def features(sizes_um: Sequence[float], at_um: float, **more: Any) -> tuple[Feature, ...]:
    """Several features at one distance, numbered from 1."""
    return tuple(feature(size, at_um, id_=i, **more) for i, size in enumerate(sizes_um, start=1))


def reading(
    *found: Feature,
    view_um: tuple[float, float, float, float] | None = WHOLE_VIEW,
    smallest_um: float = 1.0,
    narrowest_um: float = 1.0,
    checks: tuple[Check, ...] = (CHECK_MET,),
    core: tuple[CoreKind, float] | None = (CoreKind.SINGLE_MODE, 8.6),
    no_fit: NoFit | None = None,
) -> Reading:
    """Return a reading of a face with the given features."""
    if no_fit:
        return Reading(no_fit, Readiness(None, None, None, checks), (), None, None)
    return Reading(
        fit=Fit(
            centre_px=(640.0, 512.0),
            cladding_diameter_px=400.0,
            um_per_px=0.3125,
            scale_source=ScaleSource.CLADDING,
            scale_error=0.005,
            blur_um=0.6,
            polarity=Polarity.FERRULE_BRIGHTER,
            support=1.0,
            core=Core((640.0, 512.0), core[1], 0.2, core[0]) if core else None,
        ),
        readiness=Readiness(0.6, smallest_um, narrowest_um, checks),
        features=found,
        view_um=view_um,
        occlusion=Occlusion(0.0, 0.0, 9.2),
    )
