"""How accurate the readings are: draw faces, have them graded, and put figures and plots in a folder.

python -m tests.accuracy [--seeds develop|final] [--faces N] [--faulty N] [--jobs N] [--out FOLDER]
python -m tests.accuracy --show SEED [--out FOLDER]
"""

import argparse
import json
import math
import multiprocessing
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from pathlib import Path

import cv2
import numpy as np
from tqdm import tqdm

from tests.accuracy.asked import all_figures
from tests.accuracy.looking import Case, Row, case_of
from tests.accuracy.page import page
from tests.accuracy.plan import RANGES, seeds_of
from tests.accuracy.words import misses, summary, worst_lines

FACES = {"develop": 400, "final": 800, "gate": 200}  # a quarter of the good faces are clean: 200 of 800


def measured(seeds: Sequence[int], jobs: int, *, quiet: bool = False) -> list[Case]:
    """Measure seeds in so many processes; the result is the same for any number of them."""
    if jobs == 1:
        return [case_of(seed) for seed in tqdm(seeds, unit="face", disable=quiet)]
    context = multiprocessing.get_context("spawn")
    # one thread for OpenCV in each, as there are as many processes as cores already
    with ProcessPoolExecutor(jobs, context, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        work = pool.map(case_of, seeds, chunksize=4)
        return list(tqdm(work, total=len(seeds), unit="face", disable=quiet))


def times(cases: Sequence[Case]) -> Row:
    """Return the seconds that a picture took, apart from the figures: they differ from run to run."""
    seconds = [case.seconds for case in cases if case.condition == "good"]
    if not seconds:
        return {}
    p50, p95 = (float(p) for p in np.percentile(seconds, [50, 95]))
    return {"p50": p50, "p95": p95, "max": max(seconds)}


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark, or draw one of its pictures."""
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__.split("\n")[0])
    parser.add_argument("--seeds", choices=sorted(RANGES), default="develop", help="which range of seeds")
    parser.add_argument("--faces", type=int, help="how many good faces (default 400, final 800)")
    parser.add_argument("--faulty", type=int, help="how many pictures to refuse (default a quarter as many)")
    parser.add_argument("--jobs", type=int, default=2, help="how many processes (default 2)")
    parser.add_argument("--out", type=Path, help="folder for figures.json, cases.json and report.html")
    parser.add_argument("--show", type=int, metavar="SEED", help="draw one picture with its outlines")
    asked = parser.parse_args(arguments)
    if asked.show is not None:
        from tests.accuracy.show import show

        print(show(asked.show, asked.out or Path.cwd()))
        return 0
    good = asked.faces if asked.faces is not None else FACES[asked.seeds]
    faulty = asked.faulty if asked.faulty is not None else max(1, good // 4)
    cases = measured(seeds_of(asked.seeds, good, faulty), asked.jobs)
    figures = all_figures(cases)
    for part in (misses(cases), worst_lines(figures), summary(figures)):
        print("\n".join(part))
    took = times(cases)
    print("Seconds a picture: " + ", ".join(f"{name} {value:.2f}" for name, value in took.items()))
    if asked.out is not None:
        _write(asked.out, asked.seeds, cases, figures, took)
    return 0


def _plain(value: object) -> object:
    """Return a value as JSON can hold it: what is no number, as a share of nothing, becomes null."""
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    return [_plain(one) for one in value] if isinstance(value, (list, tuple)) else value


def _write(folder: Path, seeds: str, cases: Sequence[Case], figures: Row, took: Row) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    record = {"seeds": seeds, "figures": figures, "seconds a picture": took}
    text = json.dumps(_plain(record), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / "figures.json").write_text(text, encoding="utf-8")
    (folder / "report.html").write_text(page(seeds, cases, figures, took), encoding="utf-8")
    rows = [asdict(case) for case in cases]
    (folder / "cases.json").write_text(json.dumps(rows, ensure_ascii=False), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
