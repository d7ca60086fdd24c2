"""Figures from cases: rates with Wilson's 95 % interval, errors by percentile, confusion tables."""

import math
import re
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from tests.accuracy.looking import Case, Row
from tests.accuracy.truths import TOO_CLOSE

Rate = dict[str, float]
ANOTHER_UM = 60.0  # a fit this far off is another fibre's: the one nearest the frame's middle is asked for
_NORMAL_95 = 1.959963984540054  # 97.5 % point of the standard normal distribution


def wilson(count: int, of: int) -> tuple[float, float]:
    """Return Wilson's score interval at 95 % (Wilson, J. Am. Stat. Assoc. 22, 1927); (0, 1) of nothing."""
    if of == 0:
        return 0.0, 1.0
    share, z2 = count / of, _NORMAL_95**2
    middle = (share + z2 / (2 * of)) / (1 + z2 / of)
    half = _NORMAL_95 / (1 + z2 / of) * math.sqrt(share * (1 - share) / of + z2 / (4 * of * of))
    low = 0.0 if count == 0 else max(0.0, middle - half)
    return low, 1.0 if count == of else min(1.0, middle + half)


def rate(flags: Iterable[bool]) -> Rate:
    """Count what is true, with share and interval."""
    flags = list(flags)
    count, of = sum(flags), len(flags)
    low, high = wilson(count, of)
    return {"count": count, "of": of, "share": count / of if of else math.nan, "low": low, "high": high}


def spread(values: Iterable[float]) -> dict[str, float]:
    """Return number, median, 90th and 95th percentile and largest of absolute errors."""
    errors = np.abs(np.array(list(values), dtype=np.float64))
    if not errors.size:
        return {"of": 0, "p50": math.nan, "p90": math.nan, "p95": math.nan, "max": math.nan}
    p50, p90, p95 = (float(p) for p in np.percentile(errors, [50, 90, 95]))
    return {"of": errors.size, "p50": p50, "p90": p90, "p95": p95, "max": float(errors.max())}


def table(pairs: Iterable[tuple[str, str]]) -> dict[str, dict[str, int]]:
    """Return a confusion table: true, then given, then how often."""
    counts = Counter(pairs)
    trues = sorted({true for true, _ in counts})
    return {t: {g: counts[t, g] for g in sorted({g for x, g in counts if x == t})} for t in trues}


def features_of(cases: Sequence[Case], *, findable: bool = True, refused: bool = False) -> list[Row]:
    """Return the true features of good pictures, with the seed of each.

    Those of pictures that were refused are left out unless asked for: the refusal is a figure of its own.
    """
    rows = [row | {"seed": case.seed} for case in cases if case.condition == "good" for row in case.true]
    rows = [row for row in rows if refused or row["how"] != "refused"]
    return [row for row in rows if not row["why_not"]] if findable else rows


def was_found(row: Row) -> bool:
    """Say whether a true feature was found, alone or with what it touches."""
    return bool(row["how"] != "missed")


def _band(value: float, bounds: Sequence[float]) -> str:
    for low, high in zip(bounds, [*bounds[1:], math.inf], strict=True):
        if low <= value < high:
            return f"{low:g} and more" if math.isinf(high) else f"{low:g} to {high:g}"
    return f"below {bounds[0]:g}"


def _by_number(name: str) -> tuple[str, float]:
    """Sort bands as their numbers go, and not 10 before 2."""
    words = re.split(r"([\d.]+)", name, maxsplit=1)
    return words[0], float(words[1]) if len(words) > 1 else 0.0


_GROUPS: dict[str, Callable[[Row], str]] = {
    "form": lambda r: r["form"],
    "cause": lambda r: r["cause"],
    "zone": lambda r: f"{r['form']}, zone {r['zone']}",
    "contrast": lambda r: f"{r['form']}, contrast {_band(abs(r['contrast']), (0, 0.07, 0.1, 0.2, 0.3, 0.5))}",
    "size": lambda r: (
        f"scratch, width {_band(r['width'], (0, 0.5, 0.9, 1.5, 2.5))} µm"
        if r["form"] == "scratch"
        else f"defect, size {_band(r['size'], (0, 1, 2, 3, 5, 10, 25))} µm"
    ),
    "sign": lambda r: f"{r['form']}, {'bright' if r['contrast'] > 0 else 'dark'}",
    "signal to noise": lambda r: f"{r['form']}, signal to noise {_band(r['snr'], (0, 5, 8, 12, 20, 50))}",
}


def found_by(rows: Sequence[Row]) -> dict[str, dict[str, Rate]]:
    """Return the found share by form, cause, zone, contrast, size, sign and signal to noise."""
    groups = {}
    for name, group_of in _GROUPS.items():
        names = sorted({group_of(row) for row in rows}, key=_by_number)
        groups[name] = {n: rate(was_found(row) for row in rows if group_of(row) == n) for n in names}
    return groups


def false_alarms(cases: Sequence[Case]) -> dict[str, Any]:
    """Return false alarms a picture, among good pictures that were read."""
    judged = [case for case in cases if case.condition == "good" and read(case)]
    result: dict[str, Any] = {}
    for name, some in (
        ("without camera faults", [case for case in judged if not case.about["camera_faults"]]),
        ("with camera faults", [case for case in judged if case.about["camera_faults"]]),
    ):
        alarms = [row for case in some for row in case.false_alarms]
        large = [sum(counts(row) for row in case.false_alarms) for case in some]
        result[name] = {
            "pictures": len(some),
            "all": len(alarms),
            "by zone": table((_zone(row["inner"]), row["form"]) for row in alarms),
            "by size": table(
                (_band(row["size"], (0, 1, 2, 3, 5, 10)) + " µm", row["form"]) for row in alarms
            ),
            "by contrast": table((_band(abs(row["contrast"]), (0, 0.05, 0.1, 0.3)), row["form"])
                                 for row in alarms),
            "2 µm and more inside 60 µm, a picture": sum(large) / len(some) if some else math.nan,
            "pictures with one": rate(count > 0 for count in large),
        }  # fmt: skip
    return result


def counts(row: Row) -> bool:
    """Say whether a false alarm is large and central enough for the figure that is asked for."""
    return bool(row["size"] >= 2.0 and row["inner"] <= 60.0)


def _zone(radius: float) -> str:
    return "A" if radius <= 12.5 else "B" if radius <= 57.5 else "C" if radius <= 67.5 else "D"


def read(case: Case) -> bool:
    """Say whether the picture was judged by the default criteria."""
    return given_default(case) != "unreadable"


def fits(cases: Sequence[Case]) -> dict[str, Any]:
    """Return the errors of fit, blur and core, among good pictures."""
    rows = [case.fit for case in cases if case.condition == "good" and case.fit["fitted"]]
    names = ("centre_um", "diameter_percent", "blur_um", "core_centre_um", "core_diameter_um")
    result: dict[str, Any] = {name: spread(row[name] for row in rows if name in row) for name in names}
    result["polarity right"] = rate(row["polarity_right"] for row in rows)
    arrays = [case.fit for case in cases if case.condition == "good" and case.about["array"]]
    result["arrays, a neighbour fitted"] = rate(row.get("centre_um", 0.0) > ANOTHER_UM for row in arrays)
    result["core kind"] = table((row["true_kind"], row["kind"]) for row in rows)
    return result


def sizes(rows: Sequence[Row]) -> dict[str, Any]:
    """Return errors of defects' sizes and scratches' widths, and how often the stated interval holds."""
    clean = [row for row in rows if row["how"] == "found" and row["alone"] and not row["shared"]]
    defects = [row for row in clean if row["form"] == "defect" and row["found_form"] == "defect"]
    scratches = [row for row in clean if row["form"] == "scratch" and row["found_form"] == "scratch"]

    def inside(some: Sequence[Row]) -> Rate:
        return rate(abs(row["error"]) <= 1.96 * row["stated"] for row in some)

    groups = {}
    for name, some, bounds, key in (
        ("defect size", defects, (0, 1, 2, 3, 5, 10, 25), "size"),
        ("scratch width", scratches, (0, 0.5, 0.9, 1.5, 2.5), "width"),
    ):
        for band in sorted({_band(row[key], bounds) for row in some}, key=_by_number):
            group = [row for row in some if _band(row[key], bounds) == band]
            bias = float(np.mean([row["error"] for row in group]))
            groups[f"{name} {band} µm"] = {"error": spread(r["error"] for r in group), "bias": bias,
                                           "coverage": inside(group)}  # fmt: skip
    return {
        "defect size error": spread(row["error"] for row in defects),
        "scratch width error": spread(row["error"] for row in scratches),
        "defect size coverage": inside(defects),
        "scratch width coverage": inside(scratches),
        "by size": groups,
        "overlap": spread(row["overlap"] for row in clean if row["form"] == "defect" and row["size"] >= 3),
    }


def verdicts(cases: Sequence[Case]) -> dict[str, Any]:
    """Return, for each criteria set, the verdicts given for what good pictures owe."""
    good = [case for case in cases if case.condition == "good"]
    result = {}
    for name in good[0].verdicts if good else ():
        pairs = [case.verdicts[name] for case in good]
        result[name] = {
            "left out, too close to call": sum(owes == TOO_CLOSE for owes, _ in pairs),
            "owed and given": table((o, g) for o, g in pairs if o != TOO_CLOSE),
        }
    return result


def refusals(cases: Sequence[Case]) -> dict[str, Any]:
    """Return what was refused that had to be, what was not, and what was fitted without a fibre."""
    bad = [case for case in cases if case.condition != "good"]
    good = [case for case in cases if case.condition == "good"]
    kinds = sorted({case.condition for case in bad})
    return {
        "unreadable refused": rate(not read(case) for case in bad),
        "by condition": {k: rate(not read(case) for case in bad if case.condition == k) for k in kinds},
        "reasons": table((case.condition, case.fit.get("reason", "fitted")) for case in bad),
        "no fibre, yet fitted": rate(case.fit["fitted"] for case in bad if case.condition == "no_fibre"),
        "readable refused": rate(not read(case) for case in good),
    }


def given_default(case: Case) -> str:
    """Return the verdict given by the default criteria, which come first."""
    return next(iter(case.verdicts.values()))[1]
