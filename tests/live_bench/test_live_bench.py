"""The benchmark of the live view gives its figures, and its rings belong to painted frames; no timing here."""

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "fake_v4l2")]

import run_with_fake  # noqa: E402

from tests.live_bench.figures import Figure, all_met, figures_of, gaps_ms, lags, table  # noqa: E402
from tests.live_bench.film import wandering_face  # noqa: E402


def seen(**changes: object) -> dict[str, object]:
    """One second at 20 frames a second, each painted at once with its own rings."""
    paints = [(0.05 * n, n, n, n, 0.02) for n in range(1, 21)]
    return {
        "began_s": 0.0,
        "ended_s": 1.0,
        "paints": paints,
        "first": 0,
        "last": 20,
        "cpu_s": 0.5,
        "threads_s": {"window": 0.3, "live-fit_0": 0.2},
        "paint_s": 0.1,
        "fit_s": 0.2,
        "slowest_fit_s": (0.02, 0.01),
        "swept_s": [(0.5, 0.01)],
        "waited_s": None,
        "memory_mb": [200.0, 210.0, 205.0],
        "load": (0.1, 0.2),
        **changes,
    }


def value(figures: list[Figure], name: str) -> object:
    return next(figure.value for figure in figures if figure.name == name)


def test_a_steady_second_meets_what_is_asked() -> None:
    figures = figures_of(seen(), 20, 2.0)
    assert all_met(figures)
    assert value(figures, "frames painted") == 20
    assert value(figures, "processor time") == pytest.approx(50.0)
    assert value(figures, "a frame in units of the reference") == pytest.approx(12.5)
    assert "NOT MET" not in "\n".join(table(figures))


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"cpu_s": 0.61}, "processor time"),
        ({"memory_mb": [200.0, 240.0]}, "memory grown by"),
        ({"paints": [(0.05 * n, n, n - 2, n, 0.02) for n in range(1, 21)]}, "rings late by, at most"),
        ({"paints": [(0.05 * n, n, -1, n, 0.02) for n in range(1, 21)]}, "paints without rings"),
        (
            {"paints": [(0.05 * n, n, -2, n, 0.02) for n in range(1, 21)]},
            "paints with rings of no known frame",
        ),
        ({"paints": [(0.05 * n, 1, 1, n, 0.02) for n in range(1, 21)]}, "times longer than 100 ms"),
        ({"paints": []}, "longest time without a new frame painted"),
    ],
)
def test_each_figure_that_is_asked_can_fail(changes: dict[str, object], name: str) -> None:
    figures = figures_of(seen(**changes), 20, 2.0)
    assert not all_met(figures)
    assert next(figure for figure in figures if figure.name == name).met is False


def test_painting_an_old_frame_again_is_no_new_frame() -> None:
    paints = [(0.1, 1, 1, 1, 0.0), (0.2, 1, 1, 2, 0.0), (0.3, 2, 2, 2, 0.0)]
    assert gaps_ms(paints, 0.0, 0.4) == pytest.approx([100.0, 200.0, 100.0])
    assert lags([*paints, (0.4, 3, 2, 3, 0.0)]) == {0: 3, 1: 1}


def test_the_film_goes_there_and_back_and_no_two_neighbours_are_equal() -> None:
    film = list(wandering_face((640, 480), count=4))
    assert len(film) == 6
    assert film[0].shape == (480, 640, 3)
    assert all(not np.array_equal(one, film[n - 1]) for n, one in enumerate(film))


@pytest.mark.slow
@pytest.mark.window
@pytest.mark.skipif(bool(run_with_fake.why_not()), reason=run_with_fake.why_not() or "runs")
def test_the_command_watches_the_real_window_for_a_few_seconds(tmp_path: Path) -> None:
    out = tmp_path / "figures.json"
    command = [
        sys.executable,
        "-m",
        "tests.live_bench",
        "--minutes",
        "0.08",
        "--offscreen",
        "--out",
        str(out),
    ]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=200, check=False)
    assert out.exists(), done.stdout + done.stderr
    row = json.loads(out.read_text(encoding="utf-8"))
    figures = {figure["figure"]: figure for figure in row["figures"]}
    assert done.returncode == (1 if any(figure["met"] is False for figure in figures.values()) else 0)
    assert {"processor time", "rings late by, at most", "frames painted", "memory at end"} <= set(figures)
    assert all(name in done.stdout for name in figures)
    paints = row["seen"]["paints"]
    assert paints
    first, last = row["seen"]["first"], row["seen"]["last"]
    assert all(first <= frame <= last for _, frame, *_ in paints)
    ringed = [(frame, rings) for _, frame, rings, *_ in paints if rings >= 0]
    assert ringed
    # whatever the machine's load: rings are never those of a picture that is yet to come
    assert all(rings <= frame for frame, rings in ringed)
    assert figures["paints with rings of no known frame"]["value"] == 0
