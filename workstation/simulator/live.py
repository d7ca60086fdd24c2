"""A live microscope that isn't there: connectors to insert, look at, focus on and clean, for practice.

The drawn face is kept sharp and a little larger than the frame. A frame is that, shifted by drift and shake
to a fraction of a pixel, blurred by lens and focus, lit and given noise. The picture depends on seed, frame
number and what was asked of the microscope, never on the clock: only the pacing does.
"""

import math
import threading
import time
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from workstation.simulator.bench_faces import Cleaning, cleaned, nothing_inserted, random_connector
from workstation.simulator.optics import Lamp, Optics
from workstation.simulator.render import Picture, blurred, draw, fixed_field
from workstation.simulator.scene import FibreKind, Scene
from workstation.simulator.truth import Truth, truth_of

_ROOM_PX = 96  # how far the picture may wander from its middle, blur included


class NotOpenError(RuntimeError):
    """The simulated microscope was read without being open."""


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
    frames_per_s
        Pace of `read`; 0 for as fast as it goes.

    Notes
    -----
    All methods may be called from any thread while another reads. Changes show in the next frame.
    """

    FOCUS_RANGE_UM = (-30.0, 30.0)
    EXPOSURE_RANGE = (0.0, 4.0)

    def __init__(
        self,
        seed: int = 1,
        *,
        width_px: int = 1280,
        height_px: int = 1024,
        um_per_px: float = 0.25,
        fibre: FibreKind = FibreKind.SINGLE_MODE,
        colour: bool = False,
        frames_per_s: float = 30.0,
    ) -> None:
        self._lock = threading.RLock()
        self._closed = threading.Event()
        self._closed.set()
        self._seed = seed
        self._period_s = 1 / frames_per_s if frames_per_s > 0 else 0.0
        self._due_s = 0.0
        self._fibre = fibre
        self._focus_um = 0.0
        self._best_focus_um = 0.0
        self._exposure = 1.0
        self._drift_um = 2.5
        self._shake_um = 0.08
        self._blur_per_um = 0.22
        self._inserted = 0
        self._cleanings = 0
        self._frame = 0
        self._shake_px = np.zeros(2)
        self._noise_rng = np.random.default_rng([seed, 1])
        self._tile = self._noise_rng.standard_normal((height_px + 64, width_px + 64), dtype=np.float32)
        gains = (0.92, 1.0, 0.95) if colour else None
        self._optics = Optics(
            width_px=width_px,
            height_px=height_px,
            um_per_px=um_per_px,
            blur_um=0.4,
            lamp=Lamp(0.03, -0.04, 0.08),
            exposure=200.0,
            shot_noise=1.6,
            read_noise=0.8,
            colour=gains,
        )
        self._light = fixed_field(self._optics)
        self._scene = nothing_inserted()
        self._canvas: Picture | None = None
        self._connected = False
        self._last_optics = self._optics
        self.insert_connector()

    @property
    def name(self) -> str:
        """Name for a person to read."""
        return "Simulated microscope"

    @property
    def focus_um(self) -> float:
        """Position of the focus knob in micrometres, within ``FOCUS_RANGE_UM``.

        Each connector sits a little differently.
        """
        with self._lock:
            return self._focus_um

    @focus_um.setter
    def focus_um(self, value: float) -> None:
        low, high = self.FOCUS_RANGE_UM
        with self._lock:
            self._focus_um = min(max(float(value), low), high)

    @property
    def exposure(self) -> float:
        """Light relative to a well-exposed picture, within ``EXPOSURE_RANGE``."""
        with self._lock:
            return self._exposure

    @exposure.setter
    def exposure(self, value: float) -> None:
        low, high = self.EXPOSURE_RANGE
        with self._lock:
            self._exposure = min(max(float(value), low), high)

    @property
    def drift_um(self) -> float:
        """How far the stage wanders to either side, in micrometres; 0 to 10."""
        with self._lock:
            return self._drift_um

    @drift_um.setter
    def drift_um(self, value: float) -> None:
        with self._lock:
            self._drift_um = min(max(float(value), 0.0), 10.0)

    @property
    def shake_um(self) -> float:
        """Standard deviation of the shake from frame to frame, in micrometres; 0 to 2."""
        with self._lock:
            return self._shake_um

    @shake_um.setter
    def shake_um(self, value: float) -> None:
        with self._lock:
            self._shake_um = min(max(float(value), 0.0), 2.0)

    @property
    def fibre(self) -> FibreKind:
        """Kind of fibre in the connectors to come."""
        with self._lock:
            return self._fibre

    @fibre.setter
    def fibre(self, kind: FibreKind) -> None:
        with self._lock:
            self._fibre = FibreKind(kind)

    @property
    def best_focus_um(self) -> float:
        """Where the focus knob would have to stand for the connector in the scope."""
        with self._lock:
            return self._best_focus_um

    @property
    def connector(self) -> int:
        """How many connectors were inserted so far."""
        with self._lock:
            return self._inserted

    @property
    def truth(self) -> Truth:
        """What the newest frame truly shows."""
        with self._lock:
            return truth_of(self._scene, self._last_optics)

    def insert_connector(self) -> None:
        """Take the next connector from the drawer and put it into the scope."""
        with self._lock:
            self._inserted += 1
            self._cleanings = 0
            rng = np.random.default_rng([self._seed, 2, self._inserted])
            scene = random_connector(rng, self._fibre)
            first = self._inserted == 1
            self._best_focus_um = 0.0 if first else float(np.clip(rng.normal(0, 3), -8, 8))
            self._set_down(rng, float(rng.uniform(0, 2 * math.pi)))
            self._connected = True
            self._show(scene)

    def dry_clean(self) -> None:
        """Wipe the face once with a dry cleaner: takes most dust, smears some oil, never mends damage."""
        self._clean(Cleaning.DRY)

    def wet_clean(self) -> None:
        """Clean wet, then dry: takes nearly everything that can be taken, and now and then leaves a ring."""
        self._clean(Cleaning.WET)

    def unplug_fibre(self) -> None:
        """Take the connector out of the scope."""
        with self._lock:
            self._connected = False
            self._show(nothing_inserted())

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
            return self._next_frame()

    def _set_down(self, rng: np.random.Generator, turn_rad: float) -> None:
        """Put a connector into the scope: never quite in the same place."""
        x, y = rng.uniform(-1, 1, 2) * self._reach_um() / self._optics.um_per_px
        middle = (self._optics.width_px - 1) / 2 + float(x), (self._optics.height_px - 1) / 2 + float(y)
        self._optics = replace(self._optics, centre_px=middle, rotation_rad=turn_rad)

    def _reach_um(self) -> float:
        """How far off the middle a connector may sit with its zones A to C still in view, at most 15 µm."""
        short = min(self._optics.width_px, self._optics.height_px) * self._optics.um_per_px
        return float(np.clip(short / 2 - 67.5 - 4, 0.0, 15.0))

    def _clean(self, how: Cleaning) -> None:
        with self._lock:
            if not self._connected:
                return
            self._cleanings += 1
            rng = np.random.default_rng([self._seed, 3, self._inserted, self._cleanings])
            # It was taken out to be cleaned, and its key lets it turn by a few degrees.
            self._best_focus_um += float(rng.normal(0, 0.5))
            self._set_down(rng, self._optics.rotation_rad + float(rng.normal(0, 0.04)))
            self._show(cleaned(self._scene, how, rng))

    def _show(self, scene: Scene) -> None:
        """Draw a scene sharply; the frames to come are made from it."""
        self._scene = scene
        rng = np.random.default_rng([self._seed, 4, self._inserted])
        self._canvas = draw(scene, self._optics, rng, _ROOM_PX)

    def _next_frame(self) -> NDArray[np.uint8]:
        self._frame += 1
        optics = self._optics
        x, y = self._wander_px()
        off = abs(self._focus_um - self._best_focus_um) if self._connected else 0.0
        least = optics.blur_um if self._connected else 12.0
        blur_um = math.hypot(least, self._blur_per_um * off)
        centre = optics.origin_px[0] + x, optics.origin_px[1] + y
        self._last_optics = replace(
            optics, centre_px=centre, blur_um=blur_um, exposure=optics.exposure * self._exposure
        )
        light = self._shifted(x, y, blur_um / optics.um_per_px)
        light *= self._light
        light *= np.float32(self._last_optics.exposure)
        if optics.colour is None:
            return self._recorded(light)
        planes = [self._recorded(light * np.float32(gain)) for gain in optics.colour]
        return np.asarray(cv2.merge(planes), dtype=np.uint8)

    def _wander_px(self) -> tuple[float, float]:
        """Where stage drift and shake have taken the face in this frame, in pixels."""
        seconds = self._frame / 30
        shake = self._noise_rng.normal(0, 1, 2) * self._shake_um / self._optics.um_per_px
        self._shake_px = 0.6 * self._shake_px + 0.8 * shake
        far = self._drift_um / self._optics.um_per_px
        slow, fast, down = (math.sin(seconds / period) for period in (7.3, 2.9, 9.1))
        drift = np.array([0.7 * slow + 0.3 * fast, down])
        x, y = np.clip(drift * far + self._shake_px, -_ROOM_PX / 2, _ROOM_PX / 2)
        return float(x), float(y)

    def _shifted(self, x: float, y: float, sigma_px: float) -> Picture:
        """Return the face shifted by (x, y) and blurred; float32, the size of the frame."""
        if self._canvas is None:
            raise RuntimeError("No face was drawn yet.")
        optics = self._optics
        across, down = math.floor(x), math.floor(y)
        left, top = _ROOM_PX - across, _ROOM_PX - down
        if sigma_px > 5:
            room = min(math.ceil(3 * sigma_px), _ROOM_PX // 2 - 2)
        else:
            room = math.ceil(4 * sigma_px) + 1
        part = self._canvas[
            top - room : top + room + optics.height_px, left - room : left + room + optics.width_px
        ]
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

    def _recorded(self, light: Picture) -> NDArray[np.uint8]:
        """Add the camera's noise and count grey levels."""
        optics = self._optics
        left, top = (int(n) for n in self._noise_rng.integers(0, 64, 2))
        noise = self._tile[top : top + optics.height_px, left : left + optics.width_px]
        spread = light * np.float32(optics.shot_noise**2 / 255)
        spread += np.float32(optics.read_noise**2)
        np.sqrt(spread, out=spread)
        spread *= noise
        spread += light
        np.clip(spread, 0.0, 255.0, out=spread)
        return np.asarray(cv2.convertScaleAbs(spread), dtype=np.uint8)
