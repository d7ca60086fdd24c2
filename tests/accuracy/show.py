"""One picture of the benchmark with its true and found outlines, for a person to look at."""

import math
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.accuracy.looking import Looked, criteria_sets, look
from tests.accuracy.truths import owed
from workstation.values import Fit

# blue-green-red
_TRUE, _HARD, _FOUND, _ALARM = (
    (230, 190, 60),
    (150, 130, 110),
    (60, 200, 255),
    (80, 80, 255),
)
_FONT = cv2.FONT_HERSHEY_SIMPLEX
_TALL_PX = 900  # the drawing is at least as tall


def show(seed: int, folder: Path) -> Path:
    """Draw one seed into a folder: left the picture alone, right with outlines.

    Blue: true and findable, with its number; grey-blue: true, but hidden or out of view; yellow: found, with
    its number; red: false alarm.

    Returns
    -------
    Path
        The PNG file.
    """
    criteria = criteria_sets()[0]
    looked = look(seed, criteria)
    truth, verdict = looked.picture.truth, looked.graded.verdict
    bare, top, up = _cropped(looked)
    drawn = bare.copy()
    _outlines(drawn, looked, up, top)
    both = np.concatenate([bare, drawn], axis=1)
    owes = owed(looked.known, truth, criteria) if truth.centre_px is not None else "unreadable"
    words = (
        f"seed {seed}  {truth.condition}  {looked.plan.contents}{looked.plan.fault}  "
        f"{truth.um_per_px:.3f} um/px  blur {truth.blur_um:.2f} um  "
        f"owed {owes}, given {verdict.outcome.value}"
    )
    large = both.shape[1] / 1600
    strip = np.zeros((round(30 * large), both.shape[1], 3), np.uint8)
    place = (round(8 * large), round(21 * large))
    cv2.putText(strip, words, place, _FONT, 0.6 * large, (255, 255, 255), max(1, round(large)), cv2.LINE_AA)
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"seed-{seed}.png"
    if not cv2.imwrite(str(path), np.concatenate([strip, both])):
        raise OSError(f"{path} can't be written.")
    return path


def _cropped(looked: Looked) -> tuple[NDArray[np.uint8], NDArray[np.float64], int]:
    """Return the picture around the contact zone, in colour, the pixel at its corner, and its enlargement.

    The whole picture is drawn where the fit lies elsewhere than the fibre.
    """
    pixels, truth = looked.picture.pixels, looked.picture.truth
    low, high = np.zeros(2), np.array([truth.width_px, truth.height_px], dtype=np.float64)
    fit = looked.graded.reading.fit
    astray = isinstance(fit, Fit) and math.dist(fit.centre_px, truth.centre_px or (0, 0)) * fit.um_per_px > 20
    if truth.centre_px is not None and not astray:
        centre, reach = np.asarray(truth.centre_px), 130 / truth.um_per_px
        low, high = np.maximum(np.floor(centre - reach), 0), np.minimum(np.ceil(centre + reach), high)
        if (high - low < 8).any():
            low, high = np.zeros(2), np.array([truth.width_px, truth.height_px], dtype=np.float64)
    x0, y0, x1, y1 = (int(value) for value in (*low, *high))
    part = np.ascontiguousarray(pixels[y0:y1, x0:x1])
    up = max(1, math.ceil(_TALL_PX / part.shape[0]))
    large = cv2.resize(part, None, fx=up, fy=up, interpolation=cv2.INTER_CUBIC)
    coloured = large if large.ndim == 3 else cv2.cvtColor(large, cv2.COLOR_GRAY2BGR)
    return np.asarray(coloured, dtype=np.uint8), low, up


def _outlines(canvas: NDArray[np.uint8], looked: Looked, up: int, corner: NDArray[np.float64]) -> None:
    truth, fit = looked.picture.truth, looked.graded.reading.fit

    def draw(
        outline: NDArray[np.float64],
        um_per_px: float,
        centre: tuple[float, float],
        colour: tuple[int, int, int],
        name: str,
    ) -> None:
        px = (outline / um_per_px + np.asarray(centre) - corner + 0.5) * up - 0.5
        cv2.polylines(canvas, [np.round(px * 16).astype(np.int32)], True, colour, 1, cv2.LINE_AA, 4)
        x, y = px.max(axis=0)
        large = max(1.0, canvas.shape[1] / 1000)
        cv2.putText(canvas, name, (int(x) + 2, int(y)), _FONT, 0.4 * large, colour, round(large), cv2.LINE_AA)

    if truth.centre_px is not None:
        for one in looked.known:
            colour = _HARD if one.why_not else _TRUE
            draw(one.area.outline_um, truth.um_per_px, truth.centre_px, colour, f"t{one.feature.id}")
    if isinstance(fit, Fit):
        turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
        ring = np.column_stack([np.cos(turn), np.sin(turn)]) * fit.cladding_diameter_px * fit.um_per_px / 2
        draw(ring, fit.um_per_px, fit.centre_px, (120, 200, 120), "")
        for i, (feature, area) in enumerate(zip(looked.graded.reading.features, looked.found, strict=True)):
            colour = _ALARM if i in looked.matching.false_alarms else _FOUND
            draw(area.outline_um, fit.um_per_px, fit.centre_px, colour, f"f{feature.id}")
