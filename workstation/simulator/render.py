"""From a scene to its picture: first sharp, with exact pixel areas; then through the optics."""

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import ive

from workstation.simulator import shapes
from workstation.simulator.coverage import Patch, polygon_coverage
from workstation.simulator.optics import Lamp, Optics
from workstation.simulator.scene import Fibre, Layer, Scene
from workstation.simulator.truth import Truth, View, truth_of

Picture = NDArray[np.float32]
_ROUND_CORNERS = 1440  # a circle's polygon is then off by 0.3 nm at most


@dataclass(frozen=True, slots=True, eq=False)
class Rendered:
    """A picture, uint8 (height, width) or (height, width, 3) blue-green-red, and what it truly shows."""

    pixels: NDArray[np.uint8]
    truth: Truth


def render(scene: Scene, optics: Optics, seed: int) -> Rendered:
    """Draw a scene and image it.

    Parameters
    ----------
    scene, optics
        What is there, and how it is imaged.
    seed
        For texture and noise; the same seed gives the same picture.

    Returns
    -------
    Rendered
        The picture and its truth.
    """
    rng = np.random.default_rng(seed)
    canvas = imaged(scene, optics, rng)
    return Rendered(expose(canvas, optics, rng), truth_of(scene, optics))


def imaged(scene: Scene, optics: Optics, rng: np.random.Generator) -> Picture:
    """Draw a scene and blur it: float32 levels, shape (height, width), in even light.

    A blur narrower than the pixel is taken on a finer grid, since the picture as the lens throws it must be
    blurred before the pixels sample it.
    """
    sigma_px = optics.blur_um / optics.um_per_px
    fine = 1 if sigma_px >= 0.9 else 2 if sigma_px >= 0.45 else 3
    if optics.blur_um == 0:
        fine = 1
    x, y = optics.origin_px
    finer = replace(
        optics,
        width_px=optics.width_px * fine,
        height_px=optics.height_px * fine,
        um_per_px=optics.um_per_px / fine,
        centre_px=((x + 0.5) * fine - 0.5, (y + 0.5) * fine - 0.5),
    )
    margin = min(math.ceil(3 * sigma_px * fine), 64)
    canvas = blurred(draw(scene, finer, rng, margin), sigma_px * fine)
    canvas = canvas[margin : margin + finer.height_px, margin : margin + finer.width_px]
    if fine == 1:
        return canvas
    size = (optics.width_px, optics.height_px)
    return np.asarray(cv2.resize(canvas, size, interpolation=cv2.INTER_AREA), dtype=np.float32)


def draw(scene: Scene, optics: Optics, rng: np.random.Generator, margin: int = 0) -> Picture:
    """Draw a scene without blur, light or noise.

    Returns
    -------
    NDArray[np.float32]
        Levels, shape (height + 2 margin, width + 2 margin): the mean level over each pixel's square.
    """
    view = View.of(scene, optics, margin)
    height, width = optics.height_px + 2 * margin, optics.width_px + 2 * margin
    grain = _polished(rng, height, width, scene.grain_um / optics.um_per_px)
    canvas = grain * np.float32(scene.grain * scene.ferrule_level)
    canvas += np.float32(scene.ferrule_level)
    for fibre in scene.fibres:
        _draw_fibre(canvas, grain, scene, fibre, view)
    for feature in scene.features:
        _draw_layers(canvas, feature.layers, view)
    np.maximum(canvas, 0.0, out=canvas)
    return canvas


def texture(rng: np.random.Generator, height: int, width: int, grain_px: float) -> Picture:
    """Return Gaussian texture of unit variance and the given grain in pixels.

    The grain is the standard deviation of the Gaussian kernel. Grain finer than the pixel averages out: its
    variance falls with the number of grains in a pixel.
    """
    whole = 2 * math.sqrt(math.pi) * grain_px
    if grain_px >= 0.8:  # the blur makes it Gaussian, so the cheaper even noise of unit variance will do
        noise = rng.random((height, width), dtype=np.float32)
        noise -= np.float32(0.5)
        whole *= math.sqrt(12)
    else:
        noise = rng.standard_normal((height, width), dtype=np.float32)
    if grain_px >= 0.3:
        smooth = cv2.GaussianBlur(noise, (0, 0), grain_px, borderType=cv2.BORDER_REFLECT)
        return np.asarray(np.multiply(smooth, np.float32(whole), out=noise))
    noise *= np.float32(min(whole, 1.0))
    return noise


def _polished(rng: np.random.Generator, height: int, width: int, grain_px: float) -> Picture:
    """Return the texture of a polished surface: fine grain, and broad patches eight times as coarse."""
    fine = texture(rng, height, width, grain_px)
    rows, columns = -(-height // 8) + 1, -(-width // 8) + 1
    broad = texture(rng, rows, columns, grain_px)
    large = cv2.resize(broad, (columns * 8, rows * 8), interpolation=cv2.INTER_LINEAR)[:height, :width]
    return np.asarray(cv2.addWeighted(fine, 0.95, large, 0.3, 0), dtype=np.float32)


def _disc(
    centre: shapes.Place, diameter: float, view: View, shape: tuple[int, ...], pad: int = 0
) -> Patch | None:
    outline = view.px(shapes.circle(centre, diameter, _ROUND_CORNERS))
    return polygon_coverage(outline, shape[1], shape[0], pad)


def _draw_fibre(canvas: Picture, grain: Picture, scene: Scene, fibre: Fibre, view: View) -> None:
    """Put glue line, cladding and core onto the ferrule.

    The cladding takes its share of a pixel from the glue, inside which it lies wholly, so that an edge pixel
    is the mean of what it is made of also where it holds all three.
    """
    glue = min(scene.ferrule_level, scene.cladding_level) * (1 - fibre.glue_depth)
    (x, y), (dx, dy) = fibre.centre_um, fibre.bore_offset_um
    bore = _disc((x + dx, y + dy), fibre.cladding_diameter_um + 2 * fibre.glue_width_um, view, canvas.shape)
    if bore is not None:
        below = canvas[bore.window]
        below += (np.float32(glue) - below) * bore.values
    cladding = _disc(fibre.centre_um, fibre.cladding_diameter_um, view, canvas.shape)
    if cladding is None:
        return
    face = grain[cladding.window] * np.float32(scene.texture * scene.cladding_level)
    face += np.float32(scene.cladding_level - glue)
    canvas[cladding.window] += face * cladding.values
    centre = (x + fibre.core_offset_um[0], y + fibre.core_offset_um[1])
    core = _disc(centre, fibre.core_diameter_um, view, canvas.shape)
    if core is not None and fibre.core_step != 0.0:
        canvas[core.window] *= 1 + np.float32(fibre.core_step) * core.values * _core_profile(
            fibre, centre, core, view
        )


def _core_profile(fibre: Fibre, centre: shapes.Place, core: Patch, view: View) -> Picture:
    """Return the core's parabola, 1 in the middle and ``core_edge`` at its rim, over the patch."""
    rows, columns = core.values.shape
    if fibre.core_edge >= 1.0:
        return np.ones((rows, columns), np.float32)
    x0, y0 = view.px(np.array([centre]))[0]
    x = (np.arange(columns, dtype=np.float32) + np.float32(core.left - x0)) * np.float32(view.um_per_px)
    y = (np.arange(rows, dtype=np.float32) + np.float32(core.top - y0)) * np.float32(view.um_per_px)
    back = np.linalg.inv(view.turn)
    squared = (back[0, 0] * x[None, :] + back[0, 1] * y[:, None]) ** 2
    squared += (back[1, 0] * x[None, :] + back[1, 1] * y[:, None]) ** 2
    share = np.clip(squared / (fibre.core_diameter_um / 2) ** 2, 0.0, 1.0)
    return np.asarray(1 - (1 - fibre.core_edge) * share, dtype=np.float32)


def _draw_layers(canvas: Picture, layers: tuple[Layer, ...], view: View) -> None:
    """Multiply the background by one plus the sum of a feature's layers."""
    patches = [patch for layer in layers if (patch := _layer(canvas.shape, layer, view)) is not None]
    if not patches:
        return
    left, top = min(p.left for p in patches), min(p.top for p in patches)
    right = max(p.left + p.values.shape[1] for p in patches)
    bottom = max(p.top + p.values.shape[0] for p in patches)
    depth = np.ones((bottom - top, right - left), np.float32)
    for patch in patches:
        rows, columns = patch.values.shape
        depth[patch.top - top : patch.top - top + rows, patch.left - left : patch.left - left + columns] += (
            patch.values
        )
    canvas[top:bottom, left:right] *= np.maximum(depth, 0.0)


def _layer(shape: tuple[int, ...], layer: Layer, view: View) -> Patch | None:
    soft_px = layer.soft_um / view.um_per_px
    outline = view.px(np.asarray(layer.outline_um))
    patch = polygon_coverage(outline, shape[1], shape[0], math.ceil(3 * soft_px))
    if patch is None:
        return None
    values = patch.values
    if soft_px >= 0.3:
        values = blurred(values, soft_px, cv2.BORDER_REPLICATE)
    if layer.mottle > 0:
        # Its own generator, so that a thing looks the same whatever else lies on the face.
        rng = np.random.default_rng([round(abs(n) * 1000) for n in layer.outline_um[0]])
        coarse = texture(rng, values.shape[0], values.shape[1], layer.mottle_um / view.um_per_px)
        values = values * np.clip(1 + np.float32(layer.mottle) * coarse, 0.0, None)
    return Patch(values * np.float32(layer.contrast), patch.left, patch.top)


def blurred(canvas: Picture, sigma_px: float, border: int = cv2.BORDER_REFLECT) -> Picture:
    """Blur by a Gaussian.

    A narrow one takes the discrete kernel exp(−σ²)·Iₙ(σ²) (Lindeberg, IEEE PAMI 12, 1990), whose variance is
    exactly σ²: a sampled Gaussian of 0.5 pixel would be 7 % too narrow. A wide one works on a smaller
    canvas, where it costs less and looks the same.
    """
    if sigma_px < 1.0:
        place = np.arange(-6, 7)
        kernel = ive(np.abs(place), sigma_px**2)
        return np.asarray(cv2.sepFilter2D(canvas, cv2.CV_32F, kernel, kernel, borderType=border))
    factor = int(sigma_px / 5)
    if factor < 2 or min(canvas.shape) < 8 * factor:
        reach = 2 * math.ceil(4 * sigma_px) + 1
        return np.asarray(cv2.GaussianBlur(canvas, (reach, reach), sigma_px, borderType=border))
    height, width = canvas.shape
    right, bottom = -width % factor, -height % factor
    whole = cv2.copyMakeBorder(canvas, 0, bottom, 0, right, border)
    size = (whole.shape[1] // factor, whole.shape[0] // factor)
    small = cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    # Averaging over f pixels and drawing linearly between the means each blur a little themselves.
    own = ((factor**2 - 1) / 12 + (factor**2) / 6) / factor**2
    sigma = math.sqrt((sigma_px / factor) ** 2 - own)
    small = cv2.GaussianBlur(small, (0, 0), sigma, borderType=border)
    large = cv2.resize(small, (whole.shape[1], whole.shape[0]), interpolation=cv2.INTER_LINEAR)
    return np.asarray(large[:height, :width])


def lamp_field(lamp: Lamp, height: int, width: int) -> Picture:
    """Return the relative light over the picture, float32 (height, width)."""
    half = max(height, width) / 2
    u = ((np.arange(width) - (width - 1) / 2) / half)[None, :]
    v = ((np.arange(height) - (height - 1) / 2) / half)[:, None]
    across = lamp.along_x * u - lamp.vignette * u * u
    down = 1 + lamp.along_y * v - lamp.vignette * v * v
    return np.asarray(across.astype(np.float32) + down.astype(np.float32))


def fixed_field(optics: Optics) -> Picture:
    """Return what multiplies every frame alike: lamp, dirt on the scope's glass, fringes; float32."""
    height, width = optics.height_px, optics.width_px
    field = lamp_field(optics.lamp, height, width)
    for spot in optics.spots:
        x = np.exp(-0.5 * ((np.arange(width) - spot.x_px) / spot.sigma_px) ** 2)
        y = np.exp(-0.5 * ((np.arange(height) - spot.y_px) / spot.sigma_px) ** 2)
        field *= (1 - spot.depth * y[:, None] * x[None, :]).astype(np.float32)
    if optics.fringes is not None:
        fringes = optics.fringes
        wave = 2 * math.pi / fringes.period_px
        x = (np.arange(width) * (wave * math.cos(fringes.angle_rad)))[None, :]
        y = (np.arange(height) * (wave * math.sin(fringes.angle_rad)) + fringes.phase_rad)[:, None]
        # cos(x + y) from sums of products, so that only as many cosines as rows and columns are needed
        pattern = np.cos(x) * np.cos(y) - np.sin(x) * np.sin(y)
        field *= (1 + fringes.amplitude * pattern).astype(np.float32)
    return field


def expose(canvas: Picture, optics: Optics, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Light a blurred canvas and record it: lamp, scope dirt, noise, gamma, 8 bits, stuck pixels, JPEG."""
    light = canvas * fixed_field(optics)
    light *= np.float32(optics.exposure)
    if optics.banding > 0:
        light += rng.normal(0, optics.banding, (light.shape[0], 1)).astype(np.float32)
        np.maximum(light, 0.0, out=light)
    gains = (1.0,) if optics.colour is None else optics.colour
    planes = [_digitised(light * np.float32(gain), optics, rng) for gain in gains]
    pixels = planes[0] if optics.colour is None else np.stack(planes, axis=-1)
    for x, y, added in optics.hot_pixels:
        pixels[y, x] = np.clip(pixels[y, x] + added, 0, 255).astype(np.uint8)
    if optics.jpeg_quality is None:
        return pixels
    _, coded = cv2.imencode(".jpg", pixels, [cv2.IMWRITE_JPEG_QUALITY, optics.jpeg_quality])
    flag = cv2.IMREAD_GRAYSCALE if optics.colour is None else cv2.IMREAD_COLOR
    return np.asarray(cv2.imdecode(coded, flag), dtype=np.uint8)


def _digitised(light: Picture, optics: Optics, rng: np.random.Generator) -> NDArray[np.uint8]:
    shot, read = optics.shot_noise, optics.read_noise
    if shot > 0 or read > 0:
        spread = light * np.float32(shot * shot / 255)
        spread += np.float32(read * read)
        np.sqrt(spread, out=spread)
        spread *= rng.standard_normal(light.shape, dtype=np.float32)
        spread += light
        light = spread
    light = np.asarray(np.maximum(light, np.float32(0)), dtype=np.float32)
    if optics.gamma != 1.0:
        share = np.minimum(light, np.float32(255)) / np.float32(255)
        light = np.asarray(255 * share**optics.gamma, dtype=np.float32)
    return np.asarray(cv2.convertScaleAbs(light), dtype=np.uint8)
