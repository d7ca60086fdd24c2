"""The same picture gives the same reading: again, in another process, and with any number of OpenCV's threads."""

import os
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest
from pydantic import TypeAdapter

from workstation.endface import read_face
from workstation.simulator.random_faces import random_case
from workstation.simulator.render import render
from workstation.values import Reading

READING = TypeAdapter(Reading)
ROOT = Path(__file__).parents[2]
IN_ANOTHER_PROCESS = """
import sys
import numpy as np
from pydantic import TypeAdapter
from workstation.endface import read_face
from workstation.values import Reading
sys.stdout.buffer.write(TypeAdapter(Reading).dump_json(read_face(np.load(sys.argv[1]))))
"""


def picture(seed: int) -> np.ndarray:
    return render(*random_case(seed, contents="mixed", size_px=(640, 480)), seed).pixels


def record(pixels: np.ndarray) -> bytes:
    return READING.dump_json(read_face(pixels))


@pytest.mark.parametrize("seed", [70_201, 70_202])
def test_the_same_picture_twice_gives_the_same_reading(seed: int) -> None:
    pixels = picture(seed)
    kept = pixels.copy()
    first = record(pixels)
    record(picture(seed + 50))  # what is remembered of another picture must not matter
    assert record(pixels) == first
    assert np.array_equal(pixels, kept), "the picture was changed"
    assert b'"features":[{' in first


@pytest.mark.slow
def test_another_process_gives_the_same_reading(tmp_path: Path) -> None:
    pixels = picture(70_203)
    np.save(tmp_path / "picture.npy", pixels)
    for hashing in ("1", "2"):
        done = subprocess.run(
            [sys.executable, "-c", IN_ANOTHER_PROCESS, str(tmp_path / "picture.npy")],
            capture_output=True,
            check=True,
            timeout=120,
            cwd=ROOT,
            env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONHASHSEED": hashing},
        )
        assert done.stdout == record(pixels)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [70_204, 70_205])
def test_the_number_of_threads_does_not_matter(seed: int) -> None:
    pixels = picture(seed)
    usual = cv2.getNumThreads()
    try:
        records = set()
        for threads in (1, 2, 5):
            cv2.setNumThreads(threads)
            records.add(record(pixels))
    finally:
        cv2.setNumThreads(usual)
    assert len(records) == 1
    assert record(pixels) in records


def test_how_a_picture_lies_in_memory_does_not_matter() -> None:
    pixels = picture(70_206)
    wider = np.zeros((pixels.shape[0] + 7, pixels.shape[1] + 11, *pixels.shape[2:]), np.uint8)
    wider[3 : 3 + pixels.shape[0], 5 : 5 + pixels.shape[1]] = pixels
    part = wider[3 : 3 + pixels.shape[0], 5 : 5 + pixels.shape[1]]
    assert record(part) == record(pixels)


def test_a_reading_survives_its_json() -> None:
    first = record(picture(70_207))
    assert READING.dump_json(READING.validate_json(first)) == first
