"""The sample pictures in the repository are what the renderer draws."""

from pathlib import Path

import cv2
import numpy as np
import pytest

from workstation.simulator.samples import SAMPLES, draw_samples
from workstation.simulator.truth import Truth

FOLDER = Path(__file__).resolve().parents[2] / "sample_captures"


def test_drawing_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    one = draw_samples(tmp_path / "one", ("dust", "colour"))
    other = draw_samples(tmp_path / "other", ("dust", "colour"))
    assert len(one) == 2
    for a, b in zip(one, other, strict=True):
        assert a.read_bytes() == b.read_bytes()
        beside = f"{a.stem}.truth.json"
        assert a.with_name(beside).read_bytes() == b.with_name(beside).read_bytes()


@pytest.mark.parametrize("name", ["residue_ring", "scratch_across_core"])
def test_a_stored_sample_is_what_is_drawn_today(name: str, tmp_path: Path) -> None:
    (path,) = draw_samples(tmp_path, (name,))
    stored = cv2.imread(str(FOLDER / path.name), cv2.IMREAD_UNCHANGED)
    drawn = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    assert stored.shape == drawn.shape
    # Another processor may round the last bit of a float otherwise: a few pixels by one grey level.
    apart = np.abs(stored.astype(int) - drawn.astype(int))
    assert apart.max() <= 1
    assert np.count_nonzero(apart) <= apart.size // 1000
    beside = f"{name}.truth.json"
    kept = Truth.from_json((FOLDER / beside).read_text(encoding="utf-8"))
    assert kept == Truth.from_json((tmp_path / beside).read_text(encoding="utf-8"))


def test_every_sample_lies_in_the_folder_with_its_truth_and_the_folder_stays_small() -> None:
    for sample in SAMPLES:
        picture = FOLDER / f"{sample.name}.{sample.kind}"
        pixels = cv2.imread(str(picture), cv2.IMREAD_UNCHANGED)
        truth = Truth.from_json((FOLDER / f"{sample.name}.truth.json").read_text(encoding="utf-8"))
        assert pixels.shape[:2] == (truth.height_px, truth.width_px)
    assert sum(path.stat().st_size for path in FOLDER.iterdir()) < 8_000_000


def test_samples_show_every_condition() -> None:
    found = {
        Truth.from_json(path.read_text(encoding="utf-8")).condition for path in FOLDER.glob("*.truth.json")
    }
    assert found == {"good", "defocused", "cut_off", "black", "burnt_out", "no_fibre"}
