"""The pictures of ``sample_captures/``: one of each kind with its truth beside it, the same on every run.

Run ``python -m workstation.simulator.samples FOLDER`` to draw them.
"""

import math
import sys
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from workstation.simulator import deposits, features
from workstation.simulator.optics import Lamp, Optics, Spot
from workstation.simulator.render import Rendered, render
from workstation.simulator.scene import Fibre, FibreKind, Scene, SceneFeature

Draw = Callable[[np.random.Generator], list[SceneFeature]]

_FIBRE = Fibre(
    cladding_diameter_um=125.2,
    core_diameter_um=8.7,
    core_offset_um=(0.2, -0.15),
    core_step=0.03,
    glue_width_um=0.45,
    glue_depth=0.6,
    bore_offset_um=(0.15, 0.1),
)
_FACE = Scene(
    fibres=(_FIBRE,), ferrule_level=1.0, cladding_level=0.42, grain=0.03, grain_um=0.45, texture=0.002
)
_OPTICS = Optics(
    width_px=800,
    height_px=600,
    um_per_px=0.32,
    centre_px=(409.3, 291.8),
    rotation_rad=0.3,
    blur_um=0.45,
    lamp=Lamp(0.03, -0.02, 0.07),
    exposure=205.0,
    shot_noise=1.2,
    read_noise=0.6,
)
_SMALL = replace(_OPTICS, width_px=640, height_px=480, um_per_px=0.4, centre_px=(313.6, 246.2))


@dataclass(frozen=True, slots=True)
class Sample:
    """One picture to draw: file name, scene, optics, and what to put on the face."""

    name: str
    scene: Scene = _FACE
    optics: Optics = _OPTICS
    draw: Draw = lambda rng: []
    kind: str = "png"


def _turned(angle_deg: float, away_um: float) -> tuple[float, float]:
    angle = math.radians(angle_deg)
    return away_um * math.cos(angle), away_um * math.sin(angle)


def _some_dust(rng: np.random.Generator) -> list[SceneFeature]:
    places = [(9, 40), (52, 95), (100, 30), (131, 78), (170, 55), (214, 100), (250, 45), (285, 84), (322, 70)]
    sizes = [5.5, 12.0, 3.2, 8.0, 4.0, 14.0, 2.5, 6.0, 9.0]
    return [features.dust(rng, _turned(a, r), s) for (a, r), s in zip(places, sizes, strict=True)]


def _some_oil(rng: np.random.Generator) -> list[SceneFeature]:
    return [
        *deposits.droplets(rng, (22, -18), 9, 11.0),
        deposits.droplet(rng, (-42, 25), 16.0),
        deposits.droplet(rng, (-20, 70), 22.0),
    ]


def _a_streak(rng: np.random.Generator) -> list[SceneFeature]:
    return [deposits.streak(rng, (8, 12), 120, 12), deposits.streak(rng, (-30, -40), 60, 6)]


def _a_residue_ring(rng: np.random.Generator) -> list[SceneFeature]:
    return [deposits.residue_ring(rng, (-14, 8), 52), deposits.residue_ring(rng, (40, -35), 18)]


def _some_adhesive(rng: np.random.Generator) -> list[SceneFeature]:
    return [deposits.adhesive(rng, 0.7, 42), deposits.adhesive(rng, 3.6, 16)]


def _a_pit_in_the_core(rng: np.random.Generator) -> list[SceneFeature]:
    return [features.pit(rng, (1.4, -0.9), 3.6, -0.6), features.pit(rng, (-31, 20), 2.2, -0.6)]


def _a_scratch_across_the_core(rng: np.random.Generator) -> list[SceneFeature]:
    return [
        features.scratch(rng, (-70, -38), (58, 34), 1.5, -0.45, bow_um=3),
        features.scratch(rng, (-25, 42), (35, -50), 0.9, 0.35),
    ]


def _an_edge_chip(rng: np.random.Generator) -> list[SceneFeature]:
    return [features.edge_chip(rng, 2.4, 17), features.edge_chip(rng, 5.4, 7)]


def _all_sorts(rng: np.random.Generator) -> list[SceneFeature]:
    return [
        features.scratch(rng, (-90, 20), (40, -55), 1.0, -0.4),
        deposits.film(rng, (15, 25), 45, -0.1),
        *_some_dust(rng)[:5],
        deposits.droplet(rng, (-30, -30), 9.0),
    ]


def _multimode(kind: FibreKind, core_um: float, step: float, edge: float) -> Scene:
    fibre = replace(
        _FIBRE,
        kind=kind,
        core_diameter_um=core_um,
        core_offset_um=(0.8, 0.5),
        core_step=step,
        core_edge=edge,
        glue_width_um=1.0,
    )
    return replace(_FACE, fibres=(fibre,))


_BRIGHT_CLADDING = replace(_FACE, ferrule_level=0.45, cladding_level=1.0, grain=0.04)
_MM50 = _multimode(FibreKind.MULTIMODE_50, 50.4, 0.05, 0.8)
_MM62_LIT = _multimode(FibreKind.MULTIMODE_62_5, 62.1, 0.6, 0.6)
_WIDE = replace(
    _OPTICS, width_px=1280, height_px=1024, um_per_px=0.3, centre_px=(655.2, 498.7), read_noise=0.4
)

SAMPLES = (
    Sample("clean_dark_cladding"),
    Sample("clean_bright_cladding", _BRIGHT_CLADDING, replace(_OPTICS, exposure=190.0)),
    Sample("dust", draw=_some_dust),
    Sample("oil_droplets", draw=_some_oil),
    Sample("oil_streak", _BRIGHT_CLADDING, _SMALL, _a_streak),
    Sample("residue_ring", draw=_a_residue_ring),
    Sample("adhesive", optics=_SMALL, draw=_some_adhesive),
    Sample("pit_in_core", optics=replace(_OPTICS, um_per_px=0.24), draw=_a_pit_in_the_core),
    Sample("scratch_across_core", draw=_a_scratch_across_the_core),
    Sample("edge_chip", _BRIGHT_CLADDING, _SMALL, _an_edge_chip),
    Sample("multimode_50", _MM50, draw=lambda rng: [features.dust(rng, (30, 22), 6.0)]),
    Sample("multimode_62_5_lit", _MM62_LIT, _SMALL),
    Sample("defocused", optics=replace(_SMALL, blur_um=6.0), draw=_some_dust),
    Sample("cut_off", _MM50, replace(_SMALL, centre_px=(96.4, 251.0))),
    Sample("black", optics=replace(_SMALL, exposure=4.0)),
    Sample("burnt_out", optics=replace(_SMALL, exposure=1150.0)),
    Sample(
        "no_fibre",
        replace(_FACE, fibres=()),
        _SMALL,
        lambda rng: [deposits.big_round_droplet(rng, (12, -8), 92.0), *_some_dust(rng)[:6]],
    ),
    Sample(
        "colour",
        optics=replace(_SMALL, colour=(0.97, 1.0, 0.93), spots=(Spot(120, 90, 9, 0.05),), jpeg_quality=92),
        draw=_all_sorts,
        kind="jpg",
    ),
    Sample("wide_grey", optics=replace(_WIDE, jpeg_quality=90), draw=_all_sorts, kind="jpg"),
)


def render_sample(sample: Sample) -> Rendered:
    """Render one sample; its name is its seed."""
    seed = int.from_bytes(sample.name.encode("utf-8")[:8], "big")
    drawn = sample.draw(np.random.default_rng(seed))
    return render(replace(sample.scene, features=tuple(drawn)), sample.optics, seed)


def draw_samples(folder: Path, names: tuple[str, ...] = ()) -> list[Path]:
    """Draw the samples, each with ``NAME.truth.json`` beside it.

    Parameters
    ----------
    folder
        Made where it is missing; files of the same name are replaced.
    names
        Which; all where empty.

    Returns
    -------
    list of Path
        The pictures.

    Raises
    ------
    OSError
        The folder can't be written to.
    """
    folder.mkdir(parents=True, exist_ok=True)
    pictures = []
    for sample in SAMPLES:
        if names and sample.name not in names:
            continue
        rendered = render_sample(sample)
        path = folder / f"{sample.name}.{sample.kind}"
        path.write_bytes(_coded(rendered, sample))
        (folder / f"{sample.name}.truth.json").write_text(rendered.truth.to_json() + "\n", encoding="utf-8")
        pictures.append(path)
    return pictures


def _coded(rendered: Rendered, sample: Sample) -> bytes:
    if sample.kind == "jpg":
        quality = sample.optics.jpeg_quality or 90
        _, data = cv2.imencode(".jpg", rendered.pixels, [cv2.IMWRITE_JPEG_QUALITY, quality])
    else:
        _, data = cv2.imencode(".png", rendered.pixels, [cv2.IMWRITE_PNG_COMPRESSION, 9])
    return data.tobytes()


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Name the folder to draw into: python -m workstation.simulator.samples FOLDER")
    for picture in draw_samples(Path(sys.argv[1])):
        print(picture)
