"""Sources and gradings made by hand: what the rooms below would have delivered, without their work."""

import math
import threading
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from workstation.bench import Graded
from workstation.criteria import Criteria
from workstation.frames import SourceTrouble, TroubleKind
from workstation.values import (
    Cause,
    Check,
    Feature,
    Fit,
    Form,
    NoFit,
    NoFitReason,
    Outcome,
    Placed,
    Polarity,
    Readiness,
    Reading,
    ScaleSource,
    Verdict,
    ZoneResult,
)

NO_FIBRE = NoFit(NoFitReason.MISSING, "There is no fibre in the picture. Put one in, or move it into view.")


def fit_in(pixels: NDArray[np.uint8]) -> Fit:
    """A fit in the middle of a picture, as large as 40 % of its height."""
    height, width = pixels.shape[:2]
    diameter = 0.4 * height
    centre = ((width - 1) / 2, (height - 1) / 2)
    bright = Polarity.FERRULE_BRIGHTER
    scale = 125 / diameter
    return Fit(centre, diameter, scale, ScaleSource.CLADDING, 0.004, 0.55, bright, 1.0)


def feature(number: int, x_um: float, y_um: float, size_um: float) -> Feature:
    """A round speck of dust."""
    away = math.hypot(x_um, y_um)
    turns = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    outline = tuple(
        (float(x_um + size_um / 2 * np.cos(turn)), float(y_um + size_um / 2 * np.sin(turn))) for turn in turns
    )
    return Feature(
        number, Form.DEFECT, Cause.LOOSE_DUST, 0.8, size_um, 0.2, size_um, 0.2, size_um, -0.5, (x_um, y_um),
        outline, max(0.0, away - size_um / 2), away + size_um / 2,
    )  # fmt: skip


class Grader:
    """Stands in for ``bench.grade`` and gives the outcome that was asked for."""

    def __init__(self, outcome: Outcome = Outcome.PASS) -> None:
        self.outcome = outcome
        self.trouble: Exception | None = None
        self.gate: threading.Event | None = None

    def __call__(self, pixels: NDArray[np.uint8], criteria: Criteria, **_more: object) -> Graded:
        if self.gate is not None:
            assert self.gate.wait(20)
        if self.trouble is not None:
            raise self.trouble
        unreadable = self.outcome is Outcome.UNREADABLE
        check = Check("focus", not unreadable, 2.4 if unreadable else 0.6, 1.0, "µm", "Turn the focus knob.")
        fit: Fit | NoFit = NO_FIBRE if unreadable else fit_in(pixels)
        found = () if unreadable else (feature(1, 30.0, -12.0, 8.0), feature(2, -20.0, 25.0, 1.5))
        reading = Reading(
            fit, Readiness(0.6, 1.1, 0.7, (check,)), found, (-200.0, -160.0, 200.0, 160.0), None
        )
        fails = self.outcome is Outcome.FAIL
        zones = tuple(
            ZoneResult(
                zone.letter, zone.inner_um, zone.outer_um, 1.0, 0, 2 if zone.letter == "B" else 0,
                ("no defect above 5 µm",) if fails and zone.letter == "B" else (),
            )
            for zone in criteria.zones
        )  # fmt: skip
        verdict = Verdict(
            self.outcome,
            (f"Zone B: a reason for {self.outcome.value} (feature 1).",),
            replace(criteria.ref, unverified=True),
            () if unreadable else zones,
            tuple(Placed(entry.id, "B", entry.id == 1, fails and entry.id == 1) for entry in found),
            (check,),
            "Dry clean, then look again." if fails else "Go on.",
            fails,
        )
        return Graded(reading, verdict, 0.12)


class MovableSource:
    """A source whose cable a test can pull."""

    def __init__(self, pixels: NDArray[np.uint8] | None = None) -> None:
        self.pulled = threading.Event()
        self.pixels = np.full((480, 640), 90, np.uint8) if pixels is None else pixels
        self._tick = threading.Event()

    name = "A camera with a cable"

    def open(self) -> None:
        self._check()

    def read(self) -> NDArray[np.uint8]:
        self._tick.wait(0.01)
        self._check()
        return self.pixels.copy()

    def close(self) -> None: ...

    def _check(self) -> None:
        if self.pulled.is_set():
            raise SourceTrouble(
                TroubleKind.UNPLUGGED,
                "The camera was unplugged. Plug it in again; the picture comes back by itself.",
            )
