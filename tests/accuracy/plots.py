"""Small plots as SVG text: bars with intervals, histograms and scatters."""

import math
from collections.abc import Sequence
from html import escape

import numpy as np

from tests.accuracy.figures import Rate

_WIDE, _TALL, _LEFT, _BELOW, _ABOVE = 420, 240, 48, 36, 26
_DARK, _LIGHT, _WARM = "#2b5c8a", "#9db8d2", "#c0562b"


def _text(x: float, y: float, words: str, anchor: str = "middle") -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(words)}</text>'


def _svg(parts: Sequence[str], tall: float = _TALL, wide: float = _WIDE) -> str:
    box = f'width="{wide:.0f}" height="{tall:.0f}" viewBox="0 0 {wide:.0f} {tall:.0f}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {box}>{"".join(parts)}</svg>'


def _ticks(low: float, high: float) -> list[float]:
    step = 10 ** math.floor(math.log10(max(high - low, 1e-9)))
    while (high - low) / step > 5:
        step *= 2
    while (high - low) / step < 3:
        step /= 2
    return [step * n for n in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


class _Axes:
    """A frame with ticks; a logarithmic x axis where asked for."""

    def __init__(self, title: str, label: str, x: tuple[float, float], y: tuple[float, float], log: bool):
        self._x, self._y, self._log = x, y, log
        ticks = [t for t in (0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200) if x[0] <= t <= x[1]]
        floor, right = _TALL - _BELOW, _WIDE - 10
        self.parts = [
            _text(_LEFT, 16, title, "start"),
            _text((_LEFT + right) / 2, _TALL - 4, label),
            f'<path d="M{_LEFT},{_ABOVE} V{floor} H{right}" fill="none" stroke="#888"/>',
        ]
        for tick in ticks if log else _ticks(*x):
            self.parts.append(_text(self.x(tick), floor + 14, f"{tick:g}"))
        for tick in _ticks(*y):
            at = self.y(tick)
            self.parts.append(f'<path d="M{_LEFT},{at:.1f} H{right}" stroke="#e4e4e4"/>')
            self.parts.append(_text(_LEFT - 5, at + 4, f"{tick:g}", "end"))

    def x(self, value: float) -> float:
        low, high = (math.log(v) for v in self._x) if self._log else self._x
        share = ((math.log(value) if self._log else value) - low) / (high - low)
        return _LEFT + min(max(share, 0.0), 1.0) * (_WIDE - 10 - _LEFT)

    def y(self, value: float) -> float:
        share = (value - self._y[0]) / (self._y[1] - self._y[0])
        return _TALL - _BELOW - min(max(share, 0.0), 1.0) * (_TALL - _BELOW - _ABOVE)


def histogram(title: str, label: str, values: Sequence[float], limit: float | None = None) -> str:
    """Draw how often values occur; a line marks the limit, and the last bar holds all beyond."""
    if not values:
        return _svg([_text(_LEFT, 16, f"{title}: no values", "start")])
    low = min(0.0, float(np.percentile(values, 1)))
    high = max(float(np.percentile(values, 99)), low + 1e-6)
    if limit is not None:
        high = min(max(high, 1.2 * limit), 4 * limit)
    counts, edges = np.histogram(np.clip(values, low, high), bins=30, range=(low, high))
    axes = _Axes(title, label, (low, high), (0, max(int(counts.max()), 1)), False)
    for count, left, right in zip(counts, edges[:-1], edges[1:], strict=True):
        x0, x1, y = axes.x(left), axes.x(right), axes.y(int(count))
        size = f'width="{x1 - x0 - 0.5:.1f}" height="{axes.y(0) - y:.1f}"'
        axes.parts.append(f'<rect x="{x0:.1f}" y="{y:.1f}" {size} fill="{_DARK}"/>')
    if limit is not None:
        line = f"M{axes.x(limit):.1f},{_ABOVE} V{axes.y(0):.1f}"
        axes.parts.append(f'<path d="{line}" stroke="{_WARM}" stroke-dasharray="4 3"/>')
    return _svg(axes.parts)


def scatter(
    title: str,
    label: str,
    points: Sequence[tuple[float, float, bool, str]],
    y: tuple[float, float],
    *,
    log: bool = True,
) -> str:
    """Draw points (x, y, whether to mark, words on hovering); those beyond the frame lie on its border."""
    if not points:
        return _svg([_text(_LEFT, 16, f"{title}: no values", "start")])
    values = [point[0] for point in points]
    axes = _Axes(title, label, (min(values) * 0.9, max(values) * 1.1), y, log)
    for x, value, marked, words in sorted(points, key=lambda point: point[2]):
        colour, r = (_WARM, 3.5) if marked else (_LIGHT, 2.0)
        at = f'cx="{axes.x(x):.1f}" cy="{axes.y(value):.1f}"'
        axes.parts.append(
            f'<circle {at} r="{r}" fill="{colour}" fill-opacity="0.8"><title>{escape(words)}</title></circle>'
        )
    return _svg(axes.parts)


def bars(title: str, rates: dict[str, Rate]) -> str:
    """Draw shares as bars with their 95 % intervals."""
    left, right, row = 230, 600, 20
    parts = [_text(4, 16, title, "start")]
    for at, (name, it) in enumerate(rates.items()):
        y = 26 + at * row
        low, high, end = (left + (right - left) * it[key] for key in ("low", "high", "share"))
        parts += [
            _text(left - 6, y + 12, name, "end"),
            f'<rect x="{left}" y="{y}" width="{end - left:.1f}" height="14" fill="{_LIGHT}"/>',
            f'<path d="M{low:.1f},{y + 7} H{high:.1f} M{low:.1f},{y + 3} v8 M{high:.1f},{y + 3} v8" '
            f'stroke="{_DARK}" fill="none"/>',
            _text(right + 8, y + 12, f"{100 * it['share']:.1f} % of {it['of']:.0f}", "start"),
        ]
    return _svg(parts, 34 + row * len(rates), 720)
