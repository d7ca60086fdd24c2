"""The microscope and its camera: how a scene becomes a picture."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Lamp:
    """Unevenness of the light: level = 1 + along_x·u + along_y·v − vignette·(u² + v²).

    u and v run from −1 to +1 across the longer side of the frame, 0 at its middle. No unit; default even.
    """

    along_x: float = 0.0
    along_y: float = 0.0
    vignette: float = 0.0


@dataclass(frozen=True, slots=True)
class Spot:
    """Dirt on the scope's own glass: fixed in the frame, whatever the stage does.

    Centre and standard deviation of a Gaussian in pixels; ``depth`` is relative, 0.05 for 5 % darker.
    """

    x_px: float
    y_px: float
    sigma_px: float
    depth: float


@dataclass(frozen=True, slots=True)
class Fringes:
    """Interference fringes of a cover glass: relative amplitude, period in pixels, direction and phase."""

    amplitude: float
    period_px: float
    angle_rad: float
    phase_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class Optics:
    """Everything between the face and the picture.

    Attributes
    ----------
    width_px, height_px
        Size of the picture in pixels; 1280 x 1024.
    um_per_px
        Scale in micrometres per pixel; 0.25.
    centre_px
        Where the scene's origin (the cladding centre) lies in the picture (x, y) in pixels; None for the
        middle.
    rotation_rad
        Turn of the scene from x toward y, in radians; 0.
    blur_um
        Standard deviation of the Gaussian blur of lens and focus in micrometres; 0.4. About 0.3 is the least
        that diffraction allows (0.21 λ/NA for λ = 0.53 µm, NA 0.4). Sampling by square pixels comes on top.
    lamp
        Unevenness of the light; even.
    exposure
        Grey level, before gamma, of a surface of level 1 in even light; 200. The sensor is full at 255.
    shot_noise, read_noise
        Standard deviation in grey levels of the photon noise at level 255, and of the noise in the dark;
        1.5, 0.8.
    gamma
        Exponent of the camera's curve, grey = 255·(level/255)^gamma; 1.
    colour
        None for a grey picture, else the gains of blue, green and red; None.
    jpeg_quality
        None, or the quality 0 to 100 of a JPEG that the picture passes through; None.
    spots
        Dirt on the scope's glass; none.
    hot_pixels
        (x, y, added grey level) of each stuck pixel; none.
    banding
        Standard deviation in grey levels of an offset common to each row; 0.
    fringes
        Interference fringes; none.
    """

    width_px: int = 1280
    height_px: int = 1024
    um_per_px: float = 0.25
    centre_px: tuple[float, float] | None = None
    rotation_rad: float = 0.0
    blur_um: float = 0.4
    lamp: Lamp = Lamp()
    exposure: float = 200.0
    shot_noise: float = 1.5
    read_noise: float = 0.8
    gamma: float = 1.0
    colour: tuple[float, float, float] | None = None
    jpeg_quality: int | None = None
    spots: tuple[Spot, ...] = ()
    hot_pixels: tuple[tuple[int, int, float], ...] = ()
    banding: float = 0.0
    fringes: Fringes | None = None

    @property
    def origin_px(self) -> tuple[float, float]:
        """Where the scene's origin lies in the picture, in pixels."""
        if self.centre_px is not None:
            return self.centre_px
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2
