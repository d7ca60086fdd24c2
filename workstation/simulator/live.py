"""A live microscope that isn't there: connectors to insert, look at, focus on and clean, for practice.

The drawn face is kept sharp and a little larger than the frame. A frame is that, shifted by drift and shake
to a fraction of a pixel, blurred by lens and focus, lit and given noise. The picture depends on seed, frame
number and what was asked of the microscope, never on the clock: only the pacing does.
"""

import math
import threading
import time
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.simulator.bench_faces import Cleaning, cleaned, nothing_inserted, random_connector
from workstation.simulator.optics import Lamp, Optics, Spot
from workstation.simulator.render import Picture, blurred, draw, fixed_field
from workstation.simulator.scene import FibreKind, Scene
from workstation.simulator.truth import Truth, truth_of

_ROOM_PX = 96  # how far the picture may wander from its middle, blur included
_BLUR_PER_UM = 0.22  # blur by defocus, about half of a lens with NA 0.4


class NotOpenError(RuntimeError):
    """The simulated microscope was read without being open."""


@dataclass(frozen=True, slots=True)
class _Setup:
    """Everything that a person can change; replaced whole, so that a frame is made from one state of it."""

    scene: Scene
    optics: Optics
    fibre: FibreKind
    inserted: int = 0
    cleanings: int = 0
    connected: bool = False
    focus_um: float = 0.0
    best_focus_um: float = 0.0
    exposure: float = 1.0
    drift_um: float = 2.5
    shake_um: float = 0.08


class SimulatedMicroscope:
    """A microscope with a focus knob and a drawer of connectors.

    Parameters
    ----------
    seed
        Which connectors come, and in which order.
    width_px, height_px, um_per_px
        The camera: 1280 x 1024 and 0.25 µm per pixel.
    fibre
        Kind of fibre in the connectors to come.
    colour
        Whether the camera is a colour one.
    spots
        Dirt on the scope's own glass.
    frames_per_s
        Pace of `read`; 0 for as fast as it goes.

    Notes
    -----
    One thread opens, reads and closes. The knobs may be turned from any other meanwhile: none of them waits
    for a frame, and what they change shows in the next one.
    """

    FOCUS_RANGE_UM = (-30.0, 30.0)
    EXPOSURE_RANGE = (0.0, 4.0)
    DRIFT_RANGE_UM = (0.0, 10.0)
    SHAKE_RANGE_UM = (0.0, 2.0)

    def __init__(
        self,
        seed: int = 1,
        *,
        width_px: int = 1280,
        height_px: int = 1024,
        um_per_px: float = 0.25,
        fibre: FibreKind = FibreKind.SINGLE_MODE,
        colour: bool = False,
        spots: tuple[Spot, ...] = (),
        frames_per_s: float = 30.0,
    ) -> None:
        self._lock = threading.RLock()
        self._closed = threading.Event()
        self._closed.set()
        self._seed = seed
        self._period_s = 1 / frames_per_s if frames_per_s > 0 else 0.0
        self._due_s = 0.0
        self._frame = 0
        self._shake_px = np.zeros(2)
        self._noise_rng = np.random.default_rng([seed, 1])
        self._tile = self._noise_rng.standard_normal((height_px + 64, width_px + 64), dtype=np.float32)
        optics = Optics(
            width_px=width_px,
            height_px=height_px,
            um_per_px=um_per_px,
            blur_um=0.4,
            lamp=Lamp(0.03, -0.04, 0.08),
            exposure=200.0,
            shot_noise=1.6,
            read_noise=0.8,
            colour=(0.92, 1.0, 0.95) if colour else None,
            spots=spots,
        )
        self._light = fixed_field(optics)
        self._setup = _Setup(nothing_inserted(), optics, fibre)
        self._drawn: tuple[Scene, Optics, Picture] | None = None
        self.insert_connector()
        self._shown = self._setup.scene, self._setup.optics

    @property
    def name(self) -> str:
        """Name for a person to read."""
        return "Simulated microscope"

    @property
    def focus_um(self) -> float:
        """Position of the focus knob in micrometres, within ``FOCUS_RANGE_UM``.

        Each connector sits a little differently.
        """
        return self._setup.focus_um

    @focus_um.setter
    def focus_um(self, value: float) -> None:
        self._change(focus_um=_within(self.FOCUS_RANGE_UM, value))

    @property
    def exposure(self) -> float:
        """Light relative to a well-exposed picture, within ``EXPOSURE_RANGE``."""
        return self._setup.exposure

    @exposure.setter
    def exposure(self, value: float) -> None:
        self._change(exposure=_within(self.EXPOSURE_RANGE, value))

    @property
    def drift_um(self) -> float:
        """How far the stage wanders to either side in micrometres, within ``DRIFT_RANGE_UM``."""
        return self._setup.drift_um

    @drift_um.setter
    def drift_um(self, value: float) -> None:
        self._change(drift_um=_within(self.DRIFT_RANGE_UM, value))

    @property
    def shake_um(self) -> float:
        """Standard deviation of the shake from frame to frame in micrometres, within ``SHAKE_RANGE_UM``."""
        return self._setup.shake_um

    @shake_um.setter
    def shake_um(self, value: float) -> None:
        self._change(shake_um=_within(self.SHAKE_RANGE_UM, value))

    @property
    def fibre(self) -> FibreKind:
        """Kind of fibre in the connectors to come."""
        return self._setup.fibre

    @fibre.setter
    def fibre(self, kind: FibreKind) -> None:
        self._change(fibre=FibreKind(kind))

    @property
    def best_focus_um(self) -> float:
        """Where the focus knob would have to stand for the connector in the scope."""
        return self._setup.best_focus_um

    @property
    def connected(self) -> bool:
        """Whether a connector is in the scope."""
        return self._setup.connected

    @property
    def connector(self) -> int:
        """How many connectors were inserted so far."""
        return self._setup.inserted

    @property
    def truth(self) -> Truth:
        """What the newest frame truly shows."""
        return truth_of(*self._shown)

    def insert_connector(self) -> None:
        """Take the next connector from the drawer and put it into the scope."""
        with self._lock:
            number = self._setup.inserted + 1
            rng = np.random.default_rng([self._seed, 2, number])
            scene = random_connector(rng, self._setup.fibre)
            best = 0.0 if number == 1 else float(np.clip(rng.normal(0, 3), -8, 8))
            optics = self._set_down(rng, float(rng.uniform(0, 2 * math.pi)))
            self._change(
                scene=scene, optics=optics, inserted=number, cleanings=0, connected=True, best_focus_um=best
            )

    def insert_scene(self, scene: Scene) -> None:
        """Put a given face into the middle of the scope, in focus."""
        with self._lock:
            optics = replace(self._setup.optics, centre_px=None, rotation_rad=0.0)
            number = self._setup.inserted + 1
            self._change(
                scene=scene, optics=optics, inserted=number, cleanings=0, connected=True, best_focus_um=0.0
            )

    def dry_clean(self) -> None:
        """Wipe the face once with a dry cleaner: takes most dust, smears some oil, never mends damage."""
        self._clean(Cleaning.DRY)

    def wet_clean(self) -> None:
        """Clean wet, then dry: takes nearly everything that can be taken, and now and then leaves a ring."""
        self._clean(Cleaning.WET)

    def unplug_fibre(self) -> None:
        """Take the connector out of the scope."""
        self._change(scene=nothing_inserted(), connected=False)

    def open(self) -> None:
        """Start, also after `close`."""
        with self._lock:
            self._closed.clear()
            self._due_s = time.monotonic()

    def close(self) -> None:
        """Stop; a waiting `read` ends at once. Harmless when it isn't open."""
        self._closed.set()

    def read(self) -> NDArray[np.uint8]:
        """Wait for the next frame and return it.

        Returns
        -------
        NDArray[np.uint8]
            A new array, (height, width) grey or (height, width, 3) blue-green-red.

        Raises
        ------
        NotOpenError
            The microscope isn't open, or was closed while this waited.
        """
        self._due_s += self._period_s
        late = time.monotonic() - self._due_s
        if late > 0:
            self._due_s += late
        if self._closed.wait(max(-late, 0.0)):
            raise NotOpenError("The simulated microscope isn't open. Open it before reading from it.")
        with self._lock:
            setup = self._setup
        return self._next_frame(setup)

    def _change(self, **changes: object) -> None:
        with self._lock:
            self._setup = replace(self._setup, **changes)  # type: ignore[arg-type]

    def _set_down(self, rng: np.random.Generator, turn_rad: float) -> Optics:
        """Return the optics with a connector set down in the scope: never quite in the same place.

        Its zones A to C (to 135 µm) stay in view, and it lies at most 15 µm off the middle along each axis.
        """
        optics = self._setup.optics
        short_um = min(optics.width_px, optics.height_px) * optics.um_per_px
        reach_um = float(np.clip(short_um / 2 - 67.5 - 4, 0.0, 15.0))
        x, y = rng.uniform(-1, 1, 2) * reach_um / optics.um_per_px
        middle = (optics.width_px - 1) / 2 + float(x), (optics.height_px - 1) / 2 + float(y)
        return replace(optics, centre_px=middle, rotation_rad=turn_rad)

    def _clean(self, how: Cleaning) -> None:
        with self._lock:
            setup = self._setup
            if not setup.connected:
                return
            number = setup.cleanings + 1
            rng = np.random.default_rng([self._seed, 3, setup.inserted, number])
            # It was taken out to be cleaned, and its key lets it turn by a few degrees.
            self._change(
                scene=cleaned(setup.scene, how, rng),
                optics=self._set_down(rng, setup.optics.rotation_rad + float(rng.normal(0, 0.04))),
                best_focus_um=setup.best_focus_um + float(rng.normal(0, 0.5)),
                cleanings=number,
            )

    def _canvas(self, setup: _Setup) -> Picture:
        """Return the face drawn sharply, with room around it; drawn anew only when it changed."""
        drawn = self._drawn
        if drawn is None or drawn[0] is not setup.scene or drawn[1] is not setup.optics:
            rng = np.random.default_rng([self._seed, 4, setup.inserted])
            drawn = setup.scene, setup.optics, draw(setup.scene, setup.optics, rng, _ROOM_PX)
            self._drawn = drawn
        return drawn[2]

    def _next_frame(self, setup: _Setup) -> NDArray[np.uint8]:
        self._frame += 1
        optics = setup.optics
        x, y = self._wander_px(setup)
        off_um = abs(setup.focus_um - setup.best_focus_um)
        blur_um = math.hypot(optics.blur_um, _BLUR_PER_UM * off_um) if setup.connected else 12.0
        exposure = optics.exposure * setup.exposure
        light = _shifted(self._canvas(setup), optics, x, y, blur_um / optics.um_per_px)
        light *= self._light
        light *= np.float32(exposure)
        gains = (1.0,) if optics.colour is None else optics.colour
        planes = [
            self._recorded(light if gain == 1.0 else light * np.float32(gain), optics) for gain in gains
        ]
        centre = optics.origin_px[0] + x, optics.origin_px[1] + y
        self._shown = setup.scene, replace(optics, centre_px=centre, blur_um=blur_um, exposure=exposure)
        return planes[0] if optics.colour is None else np.asarray(cv2.merge(planes), dtype=np.uint8)

    def _wander_px(self, setup: _Setup) -> tuple[float, float]:
        """Where stage drift and shake have taken the face in this frame, in pixels."""
        seconds = self._frame / 30
        shake = self._noise_rng.normal(0, 1, 2) * setup.shake_um / setup.optics.um_per_px
        self._shake_px = 0.6 * self._shake_px + 0.8 * shake
        far = setup.drift_um / setup.optics.um_per_px
        slow, fast, down = (math.sin(seconds / period) for period in (7.3, 2.9, 9.1))
        drift = np.array([0.7 * slow + 0.3 * fast, down])
        x, y = np.clip(drift * far + self._shake_px, -_ROOM_PX / 2, _ROOM_PX / 2)
        return float(x), float(y)

    def _recorded(self, light: Picture, optics: Optics) -> NDArray[np.uint8]:
        """Add the camera's noise and count grey levels."""
        left, top = (int(n) for n in self._noise_rng.integers(0, 64, 2))
        noise = self._tile[top : top + optics.height_px, left : left + optics.width_px]
        spread = light * np.float32(optics.shot_noise**2 / 255)
        spread += np.float32(optics.read_noise**2)
        np.sqrt(spread, out=spread)
        spread *= noise
        spread += light
        np.clip(spread, 0.0, 255.0, out=spread)
        return np.asarray(cv2.convertScaleAbs(spread), dtype=np.uint8)


def _within(bounds: tuple[float, float], value: float) -> float:
    return min(max(float(value), bounds[0]), bounds[1])


def _shifted(canvas: Picture, optics: Optics, x: float, y: float, sigma_px: float) -> Picture:
    """Return the face shifted by (x, y) and blurred; float32, the size of the frame."""
    across, down = math.floor(x), math.floor(y)
    left, top = _ROOM_PX - across, _ROOM_PX - down
    room = math.ceil(4 * sigma_px) + 1 if sigma_px <= 5 else min(math.ceil(3 * sigma_px), _ROOM_PX // 2 - 2)
    part = canvas[top - room : top + room + optics.height_px, left - room : left + room + optics.width_px]
    if sigma_px > 5:
        small = blurred(np.ascontiguousarray(part), sigma_px)
        move = np.array([[1, 0, x - across - room], [0, 1, y - down - room]], dtype=np.float64)
        size = (optics.width_px, optics.height_px)
        return np.asarray(cv2.warpAffine(small, move, size, flags=cv2.INTER_LINEAR))
    # The part of a pixel that is left goes into the blur's kernel, which costs nothing and blurs no more.
    place = np.arange(-room, room + 1)
    row, column = (
        np.exp(-0.5 * ((place + part_of_px) / sigma_px) ** 2) for part_of_px in (x - across, y - down)
    )
    whole = cv2.sepFilter2D(part, cv2.CV_32F, row / row.sum(), column / column.sum())
    return np.ascontiguousarray(whole[room:-room, room:-room])
