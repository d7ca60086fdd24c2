"""One picture to one reading: the steps in order."""

import math

import numpy as np
from numpy.typing import NDArray

from workstation.endface.background import flatten
from workstation.endface.cause import guess_cause
from workstation.endface.delineate import find_blobs
from workstation.endface.edge import CLADDING_RADIUS_UM
from workstation.endface.features import Shape, compact, shapes_of
from workstation.endface.fibre import find_fibre, to_grey
from workstation.endface.lines import find_lines
from workstation.endface.occlusion import occlusion
from workstation.endface.plane import HALF_UM, tilt, to_plane
from workstation.endface.readiness import with_fit, without_fit
from workstation.endface.spots import find_seeds
from workstation.values import Feature, Fit, NoFit, Reading, ScaleSource

# The contact zone ends at 250 µm (IEC 61300-3-35:2015); what lies wholly beyond it isn't read.
_READ_TO_UM = 126.0


def read_face(
    pixels: NDArray[np.uint8],
    *,
    um_per_px: float | None = None,
    mode_field_diameter_um: float = 9.2,
    frames_averaged: int = 1,
    scale_source: ScaleSource = ScaleSource.GIVEN,
) -> Reading:
    """Measure everything on a face.

    Parameters
    ----------
    pixels
        uint8, shape (height, width) or (height, width, 3) in blue-green-red order.
    um_per_px
        Known scale in micrometres per pixel; None takes the cladding as ruler.
    mode_field_diameter_um
        Mode field diameter for the estimate of blocked light.
    frames_averaged
        How many frames the picture is the mean of; passed through.
    scale_source
        What a known scale rests on.

    Returns
    -------
    Reading

    Raises
    ------
    ValueError
        The picture has another shape or type, or a number isn't positive.
    """
    grey = to_grey(pixels)
    fit = find_fibre(grey, um_per_px=um_per_px, scale_source=scale_source)
    if isinstance(fit, NoFit):
        return Reading(fit, without_fit(fit, grey), (), None, None, frames_averaged)
    plane = to_plane(grey, fit)
    face = flatten(plane, fit)
    seeds = find_seeds(face)
    readiness = with_fit(fit, grey, seeds.filters[0].plain_noise, seeds.filters, plane.sampling_um)
    view = _view(grey, fit)
    if not readiness.ok:
        # what can't be judged isn't measured either: its sizes would only mislead
        return Reading(fit, readiness, (), view, None, frames_averaged)
    blur_um = math.hypot(fit.blur_um, plane.sampling_um)
    blobs = find_blobs(face, seeds, blur_um)
    lines = find_lines(face, compact(blobs), blur_um, _edges(fit))
    shapes = [s for s in shapes_of(blobs, lines, blur_um, fit.scale_error) if s.inner_um < _READ_TO_UM]
    shapes.sort(key=lambda s: (round(s.inner_um, 2), -s.size_um))
    turn = tilt(fit)
    core_um = fit.to_um(*fit.core.centre_px) if fit.core is not None else (0.0, 0.0)
    blocked = occlusion(
        [s.outline_um @ turn.T for s in shapes if s.sign < 0], core_um, mode_field_diameter_um
    )
    features = tuple(_feature(number, shape, turn) for number, shape in enumerate(shapes, 1))
    return Reading(fit, readiness, features, view, blocked, frames_averaged)


def _edges(fit: Fit) -> list[tuple[float, float, float]]:
    edges = [(0.0, 0.0, CLADDING_RADIUS_UM)]
    if fit.core is not None:
        x, y = np.linalg.solve(tilt(fit), fit.to_um(*fit.core.centre_px))
        edges.append((float(x), float(y), fit.core.diameter_um / 2))
    return edges


def _view(grey: NDArray[np.uint8], fit: Fit) -> tuple[float, float, float, float]:
    height, width = grey.shape
    left, top = fit.to_um(-0.5, -0.5)
    right, bottom = fit.to_um(width - 0.5, height - 0.5)
    return left, top, right, bottom


def _feature(number: int, shape: Shape, turn: NDArray[np.float64]) -> Feature:
    cause, confidence = guess_cause(shape)
    outline = shape.outline_um @ turn.T
    x, y = _centroid(outline)
    return Feature(
        id=number,
        form=shape.form,
        cause=cause,
        confidence=confidence,
        size_um=shape.size_um,
        size_error_um=shape.size_error_um,
        width_um=shape.width_um,
        width_error_um=shape.width_error_um,
        length_um=shape.length_um,
        contrast=shape.contrast,
        centroid_um=(x, y),
        outline_um=tuple((float(a), float(b)) for a, b in outline),
        inner_um=min(shape.inner_um, HALF_UM),
        outer_um=shape.outer_um,
    )


def _centroid(outline: NDArray[np.float64]) -> tuple[float, float]:
    following = np.roll(outline, -1, axis=0)
    cross = outline[:, 0] * following[:, 1] - following[:, 0] * outline[:, 1]
    area = float(cross.sum()) / 2
    if abs(area) < 1e-9:
        return float(outline[:, 0].mean()), float(outline[:, 1].mean())
    middle = ((outline + following) * cross[:, None]).sum(axis=0) / (6 * area)
    return float(middle[0]), float(middle[1])
