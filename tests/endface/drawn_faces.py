"""Faces drawn for the tests of measuring: by the project's renderer, or by one formula without it."""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from workstation.endface import find_fibre
from workstation.simulator.optics import Optics
from workstation.simulator.render import Rendered, render
from workstation.simulator.scene import Fibre, FibreKind, Layer, Scene, SceneFeature
from workstation.simulator.shapes import as_outline, circle, stroke
from workstation.values import Cause, Feature, Fit, Form, NoFit

SINGLE_MODE = Fibre(core_diameter_um=8.7, core_step=0.03, glue_width_um=0.5, glue_depth=0.6)
OPTICS = Optics(width_px=640, height_px=480, um_per_px=0.4, blur_um=0.5, exposure=200.0)


def multimode(core_um: float, step: float, edge: float = 0.8) -> Fibre:
    """Return a 50 or 62.5 µm fibre."""
    kind = FibreKind.MULTIMODE_50 if core_um < 56 else FibreKind.MULTIMODE_62_5
    return Fibre(
        kind=kind,
        core_diameter_um=core_um,
        core_offset_um=(0.6, -0.4),
        core_step=step,
        core_edge=edge,
        glue_width_um=1.0,
        glue_depth=0.6,
    )


def scene(fibre: Fibre | None = SINGLE_MODE, *features: SceneFeature, bright: bool = False) -> Scene:
    """Return a face: ferrule brighter than the cladding, or the other way round where `bright`."""
    return Scene(
        fibres=() if fibre is None else (fibre,),
        ferrule_level=0.42 if bright else 1.0,
        cladding_level=1.0 if bright else 0.42,
        grain=0.03,
        grain_um=0.5,
        texture=0.002,
        features=features,
    )


def drawn(what: Scene, seed: int = 1, **optics: object) -> Rendered:
    """Render a scene through `OPTICS` with some of their numbers changed."""
    return render(what, replace(OPTICS, **optics), seed)  # type: ignore[arg-type]


def without_noise(what: Scene) -> Scene:
    """Return the scene without grain and texture."""
    return replace(what, grain=0.0, texture=0.0)


def disc(at: tuple[float, float], diameter_um: float, contrast: float) -> SceneFeature:
    """Return a round, sharp-edged, even particle."""
    outline = as_outline(circle(at, diameter_um))
    return SceneFeature(Form.DEFECT, Cause.LOOSE_DUST, contrast, outline, (Layer(outline, contrast),))


def strip(
    start: tuple[float, float], end: tuple[float, float], width_um: float, contrast: float
) -> SceneFeature:
    """Return a straight scratch of one width."""
    line = np.linspace(start, end, 41)
    outline = as_outline(stroke(line, width_um))
    return SceneFeature(
        Form.SCRATCH,
        Cause.SCRATCH,
        contrast,
        outline,
        (Layer(outline, contrast),),
        width_um=width_um,
        length_um=math.dist(start, end),
    )


def blurred_disc(
    size_px: tuple[int, int],
    centre_px: tuple[float, float],
    radius_px: float,
    *,
    inner: float,
    outer: float,
    blur_um: float = 0.6,
) -> NDArray[np.uint8]:
    """Return a cladding with a dark line of 0.5 µm around it, without noise; size as (width, height).

    The radius is that of 62.5 µm. A straight edge under a Gaussian is an error function; for a circle far larger
    than its blur that is right to blur² / 2 radius.
    """
    x, y = np.arange(size_px[0])[None, :], np.arange(size_px[1])[:, None]
    from_edge = (np.hypot(x - centre_px[0], y - centre_px[1]) / radius_px - 1) * 62.5
    dark = 0.4 * min(inner, outer)
    value = (
        inner
        + (dark - inner) * ndtr(from_edge / blur_um)
        + (outer - dark) * ndtr((from_edge - 0.5) / blur_um)
    )
    return np.rint(value).astype(np.uint8)


def fitted(pixels: NDArray[np.uint8]) -> Fit:
    """Return the fit of a picture that must have one."""
    fit = find_fibre(pixels)
    assert isinstance(fit, Fit), fit.message if isinstance(fit, NoFit) else fit
    return fit


def off_um(fit: Fit, centre_px: tuple[float, float] | None) -> float:
    """Return how far the fitted centre lies from another."""
    assert centre_px is not None
    return math.dist(fit.centre_px, centre_px) * fit.um_per_px


def nearest(features: tuple[Feature, ...], at: tuple[float, float]) -> Feature | None:
    """Return the feature whose centroid is nearest, within 3 µm; None where there is none."""
    close = [one for one in features if math.dist(one.centroid_um, at) < 3.0]
    return min(close, key=lambda one: math.dist(one.centroid_um, at), default=None)
