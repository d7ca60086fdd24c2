"""The edge of the cladding as a model: cladding level, dark glue line and ferrule level under one blur.

Radial profiles go in, one for each angle; a fitted `EdgeShape` comes out. What a blurred edge can't tell apart (the
glue line's width, its depth, and how far its bore is off centre) is held by priors that say what a connector is like.
"""

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

RAYS = 360
_ROOT_TWO_PI = float(np.sqrt(2 * np.pi))
# What a glue line usually is (common practice, no source): bore 125 to 127 µm, and darker than both sides.
GLUE_WIDTH_UM = 0.5
GLUE_SHARE = 0.4
_WAVE_SHARE = 0.5
_MODEL_ERROR = 0.008
NAMES = ("shift", "x", "y", "cos2", "sin2", "glue_width", "glue_x", "glue_y", "log_blur", "inner", "inner_slope",
          "glue", "outer", "outer_slope")  # fmt: skip
MEAN_ONLY = np.isin(np.arange(14), (1, 2, 3, 4, 6, 7), invert=True)
_LARGEST_MOVE = np.array([1.0, 1.0, 1.0, 0.5, 0.5, 0.5, 0.3, 0.3, 0.5, 1.0, 0.1, 1.0, 1.0, 0.1])


@dataclass(frozen=True, slots=True)
class EdgeShape:
    """The edge in micrometres: `numbers` in the order of `NAMES`; see `edge_model`."""

    numbers: NDArray[np.float64]

    def __getitem__(self, name: str) -> float:
        return float(self.numbers[NAMES.index(name)])

    @property
    def blur(self) -> float:
        """Standard deviation of the blur in micrometres, sampling included."""
        return float(np.exp(self["log_blur"]))

    @property
    def radius_wave(self) -> NDArray[np.float64]:
        """Harmonics (5,) of the edge about the circle it was read along, in micrometres."""
        return self.numbers[:5]

    def profile(self, u: NDArray[np.float64], wider: NDArray[np.float64]) -> NDArray[np.float64]:
        """Profile about the fitted radius; `wider` is the glue line's width at each ray."""
        flat = self.numbers.copy()
        flat[:5] = flat[6:8] = 0.0
        return edge_model(flat, u, np.zeros_like(wider), wider)[0]


def waves(
    numbers: NDArray[np.float64], angles: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Edge and glue width at each angle, as columns: the bore is off centre, so the dark line is wider on one side."""
    c, s = np.cos(angles), np.sin(angles)
    edge = np.stack([np.ones_like(c), c, s, np.cos(2 * angles), np.sin(2 * angles)], axis=1) @ numbers[:5]
    glue = np.stack([np.ones_like(c), c, s], axis=1) @ numbers[5:8]
    return edge[:, None], np.maximum(glue, 0.01)[:, None]


def edge_model(
    numbers: NDArray[np.float64], u: NDArray[np.float64], edge: NDArray[np.float64], glue: NDArray[np.float64]
) -> tuple[NDArray[np.float64], tuple[NDArray[np.float64], ...]]:
    """Cladding, dark line and ferrule under one blur, and the slopes by edge, glue width and the six others."""
    log_blur, inner, inner_slope, dark, outer, outer_slope = numbers[8:]
    blur = np.exp(log_blur)
    from_edge, from_bore = u - edge, u - edge - glue
    a, b = ndtr(from_edge / blur), ndtr(from_bore / blur)
    pa = np.exp(-0.5 * (from_edge / blur) ** 2) / (blur * _ROOT_TWO_PI)
    pb = np.exp(-0.5 * (from_bore / blur) ** 2) / (blur * _ROOT_TWO_PI)
    inside, outside = inner + inner_slope * u, outer + outer_slope * u
    first, second = (inside - dark) * pa, (dark - outside) * pb
    value = inside * (1 - a) + dark * (a - b) + outside * b
    slopes = (
        first + second,
        second,
        first * from_edge + second * from_bore,
        1 - a,
        u * (1 - a),
        a - b,
        b,
        u * b,
    )
    return value, slopes


def solve_edge(
    u: NDArray[np.float64],
    sectors: NDArray[np.float32] | NDArray[np.float64],
    weight: NDArray[np.float64],
    angles: NDArray[np.float64],
    start: EdgeShape,
    free: NDArray[np.bool_],
    scatter: NDArray[np.float32],
) -> EdgeShape:
    """Fit the free numbers of the edge by Levenberg-Marquardt.

    Parameters
    ----------
    u
        float64, (n,): distance from the circle in micrometres.
    sectors
        float, (sectors, n): one profile for each angle, in grey levels.
    weight, angles
        float64, (sectors,): weight of each profile, and its direction in radians.
    start
        Where to begin; numbers that aren't free keep its values.
    free
        bool, (14,): which numbers to fit.
    scatter
        float, (n,): robust spread among single rays at each distance, in grey levels.

    Returns
    -------
    EdgeShape
    """
    p = start.numbers.copy()
    inner, outer = p[NAMES.index("inner")], p[NAMES.index("outer")]
    darker, step = min(inner, outer), max(abs(outer - inner), 4.0)
    wave = _WAVE_SHARE * (GLUE_WIDTH_UM if len(angles) == 1 else max(p[5], 0.05))
    at = np.array([0, 0, 0, 0, 0, GLUE_WIDTH_UM, 0, 0, np.log(0.6), inner, 0, GLUE_SHARE * darker, outer, 0])
    loose = np.array(
        [9.0, 9.0, 9.0, 1.0, 1.0, 0.4, wave, wave, 1.0, 99 * step, 0.01 * inner,
         0.2 * darker + 1.0, 99 * step, 0.01 * outer]
    )  # fmt: skip
    c, s = np.cos(angles)[:, None], np.sin(angles)[:, None]
    basis = np.stack([np.ones_like(c), c, s, np.cos(2 * angles)[:, None], np.sin(2 * angles)[:, None]])
    # the scatter among rays, less by the rays of a sector; grain is about two micrometres wide, so that
    # neighbouring samples and rays share it; the model itself is good to about a hundredth of the step
    independent = max(RAYS / len(angles) / 2.0, 1.0)
    smooth = cv2.GaussianBlur(scatter[None, :].astype(np.float64), (0, 0), 3.0)[0]
    noise = np.sqrt(smooth**2 / independent + (_MODEL_ERROR * step) ** 2 + 0.04) * np.sqrt(
        max(1.0, 1.5 / (u[1] - u[0]))
    )
    scale = np.sqrt(weight)[:, None] / noise

    def evaluate(q: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        value, slopes = edge_model(q, u, *waves(q, angles))
        stack = np.empty((len(NAMES), *value.shape))
        stack[:5] = basis * (slopes[0] * scale)
        stack[5:8] = basis[:3] * (slopes[1] * scale)
        for k, slope in enumerate(slopes[2:], 8):
            stack[k] = slope * scale
        return ((value - sectors) * scale).ravel(), stack.reshape(len(NAMES), -1)

    damping = 1e-3
    residual, slopes = evaluate(p)
    cost = residual @ residual + (((p - at) / loose)[free] ** 2).sum()
    for _ in range(25):
        normal = slopes[free] @ slopes[free].T + np.diag(1 / loose[free] ** 2)
        right = slopes[free] @ residual + ((p - at) / loose**2)[free]
        move = np.zeros_like(p)
        move[free] = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)
        trial = p + np.clip(move, -_LARGEST_MOVE * step, _LARGEST_MOVE * step)
        trial[:9] = p[:9] + np.clip(move[:9], -_LARGEST_MOVE[:9], _LARGEST_MOVE[:9])
        trial[5], trial[8] = max(trial[5], 0.02), np.clip(trial[8], -3.0, 3.5)
        trial_residual, trial_slopes = evaluate(trial)
        trial_cost = trial_residual @ trial_residual + (((trial - at) / loose)[free] ** 2).sum()
        if trial_cost < cost:
            done = float(np.abs(trial - p)[:9].max()) < 1e-3 or cost - trial_cost < 1e-3 * cost
            p, residual, slopes, cost, damping = (
                trial,
                trial_residual,
                trial_slopes,
                trial_cost,
                damping * 0.2,
            )
            if done:
                break
        else:
            damping = max(damping, 1e-4) * 8
            if damping > 1e7:
                break
    return EdgeShape(p)
