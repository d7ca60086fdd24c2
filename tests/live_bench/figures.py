"""From what was noted to the figures, and whether what is asked of them is met. Pure functions."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

LONGEST_GAP_MS = 100.0
MOST_LAG = 1
MOST_OF_A_CORE = 60.0
MOST_GROWTH_MB = 32.0
"""Our own reading of "flat": a window that kept one frame in two would grow by as much in half a second."""

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Figure:
    """One line of the table: a number or words, and the most that is asked, if anything is."""

    name: str
    value: float | int | str | None
    unit: str = ""
    most: float | None = None

    @property
    def met(self) -> bool | None:
        """Whether what is asked is met; None where nothing is asked. A number that is missing isn't met."""
        if self.most is None:
            return None
        return isinstance(self.value, (int, float)) and bool(self.value <= self.most)


def figures_of(seen: Mapping[str, Any], fps: int, reference_ms: float) -> list[Figure]:
    """Return the figures of one run.

    Parameters
    ----------
    seen
        What `watching.Seen` noted, as JSON gives it back.
    fps
        The camera's frames a second.
    reference_ms
        Processor time of the reference operation.
    """
    seconds = float(seen["ended_s"]) - float(seen["began_s"])
    delivered = int(seen["last"]) - int(seen["first"])
    paints = [tuple(paint) for paint in seen["paints"]]
    return [
        Figure("time watched", round(seconds, 1), "s"),
        Figure("frames offered by the camera", round(seconds * fps)),
        Figure("frames delivered by the feed", delivered),
        *_painted(paints, seen, delivered),
        *_rings(paints),
        *_busy(seen, seconds, delivered, reference_ms),
        *_memory(seen["memory_mb"]),
        Figure("waiting for a core that others had", _share(seen["waited_s"], seconds), "% of the time"),
        Figure("load average at start and end", " and ".join(f"{load:.2f}" for load in seen["load"])),
    ]


def gaps_ms(paints: Sequence[tuple[Any, ...]], began_s: float, ended_s: float) -> list[float]:
    """Return the times between paints of frames that weren't there before, edges included."""
    moments, newest = [began_s], -1
    for paint in paints:
        if paint[1] > newest:
            newest = paint[1]
            moments.append(paint[0])
    return [float(gap) * 1e3 for gap in np.diff([*moments, ended_s])]


def lags(paints: Sequence[tuple[Any, ...]]) -> Counter[int]:
    """Return how often the rings belonged to a picture so many frames older than the one below them."""
    return Counter(frame - rings for _, frame, rings, *_ in paints if rings >= 0)


def all_met(figures: Sequence[Figure]) -> bool:
    """Whether everything that is asked is met."""
    return all(figure.met is not False for figure in figures)


def table(figures: Sequence[Figure]) -> list[str]:
    """Return the lines of a plain table."""
    lines = []
    for figure in figures:
        value = figure.value
        shown = "–" if value is None else f"{value:.1f}" if isinstance(value, float) else str(value)
        shown = f"{shown} {figure.unit}".strip()
        asked = "" if figure.most is None else f"asked ≤ {figure.most:g}"
        mark = {None: "", True: "met", False: "NOT MET"}[figure.met]
        lines.append(f"{figure.name:<48}{shown:<28}{asked:<14}{mark}".rstrip())
    return lines


def as_row(figures: Sequence[Figure]) -> list[Row]:
    """Return the figures as JSON can hold them."""
    return [
        {"figure": f.name, "value": f.value, "unit": f.unit, "most": f.most, "met": f.met} for f in figures
    ]


def _painted(paints: Sequence[tuple[Any, ...]], seen: Mapping[str, Any], delivered: int) -> list[Figure]:
    between = gaps_ms(paints, float(seen["began_s"]), float(seen["ended_s"]))
    different = len({paint[1] for paint in paints if paint[1] > int(seen["first"])})
    ages = [paint[4] * 1e3 for paint in paints]
    return [
        Figure("frames painted", different),
        Figure("frames painted, of those delivered", 100.0 * different / max(delivered, 1), "%"),
        Figure("paints of the live picture", len(paints)),
        Figure("longest time without a new frame painted", max(between), "ms", LONGEST_GAP_MS),
        Figure("times longer than 100 ms", sum(gap > LONGEST_GAP_MS for gap in between), "", 0),
        Figure("age of a frame when painted, p50 / p95 / max", _spread(ages), "ms"),
    ]


def _rings(paints: Sequence[tuple[Any, ...]]) -> list[Figure]:
    late = lags(paints)
    spread = ", ".join(f"{lag}: {count}" for lag, count in sorted(late.items()))
    behind = [newest - rings for _, _, rings, newest, _ in paints if rings >= 0]
    return [
        Figure("rings late by, at most", max(late, default=None), "frames", MOST_LAG),
        Figure("rings late by … frames: paints", spread or "no rings"),
        Figure("paints without rings", sum(paint[2] == -1 for paint in paints), "", 0),
        Figure("paints with rings of no known frame", sum(paint[2] == -2 for paint in paints), "", 0),
        Figure("rings behind the newest frame, p50 / p95 / max", _spread(behind), "frames"),
    ]


def _busy(seen: Mapping[str, Any], seconds: float, delivered: int, reference_ms: float) -> list[Figure]:
    def of_a_core(name: str, spent_s: float) -> Figure:
        return Figure(name, _share(spent_s, seconds), "% of a core")

    cpu_s = float(seen["cpu_s"])
    frame_ms = 1e3 * cpu_s / max(delivered, 1)
    threads = sorted(seen["threads_s"].items(), key=lambda item: -item[1])
    return [
        Figure("processor time", _share(cpu_s, seconds), "% of a core", MOST_OF_A_CORE),
        *(
            of_a_core(f"  thread '{name}'", spent_s)
            for name, spent_s in threads
            if spent_s >= 0.002 * seconds
        ),
        of_a_core("  painting the live picture", float(seen["paint_s"])),
        of_a_core("  fitting", float(seen["fit_s"])),
        Figure("slowest fit: by the clock / processor time", _in_ms(seen["slowest_fit_s"]), "ms"),
        Figure("full garbage sweeps, ms each", _sweeps(seen["swept_s"])),
        Figure("processor time for a frame", frame_ms, "ms"),
        Figure("reference: Gaussian blur of 1280x1024", f"{reference_ms:.2f}", "ms"),
        Figure("a frame in units of the reference", frame_ms / reference_ms),
    ]


def _memory(memory_mb: Sequence[float]) -> list[Figure]:
    return [
        Figure("memory at start", memory_mb[0], "MB"),
        Figure("memory at most", max(memory_mb), "MB"),
        Figure("memory at end", memory_mb[-1], "MB"),
        Figure("memory grown by", memory_mb[-1] - memory_mb[0], "MB", MOST_GROWTH_MB),
    ]


def _in_ms(seconds: Sequence[float]) -> str:
    return " / ".join(f"{1e3 * value:.1f}" for value in seconds)


def _sweeps(swept_s: Sequence[Sequence[float]]) -> str:
    return ", ".join(f"{1e3 * took_s:.0f}" for _, took_s in swept_s) or "none"


def _share(spent_s: float | None, seconds: float) -> float | None:
    return None if spent_s is None else 100.0 * spent_s / seconds


def _spread(values: Sequence[float]) -> str:
    if not values:
        return "–"
    return " / ".join(f"{value:.3g}" for value in (*np.percentile(values, [50, 95]), max(values)))
