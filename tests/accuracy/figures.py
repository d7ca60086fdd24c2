"""Figures from cases: rates with Wilson's 95 % interval, errors by percentile, confusion tables."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from tests.accuracy.looking import Case, Row
from tests.accuracy.truths import TOO_CLOSE

Rate = dict[str, float]
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


def _was_found(row: Row) -> bool:
    return bool(row["how"] != "missed")


def _band(value: float, bounds: Sequence[float]) -> str:
    for low, high in zip(bounds, [*bounds[1:], math.inf], strict=True):
        if low <= value < high:
            return f"{low:g} and more" if math.isinf(high) else f"{low:g} to {high:g}"
    return f"below {bounds[0]:g}"


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
        names = sorted({group_of(row) for row in rows})
        groups[name] = {n: rate(_was_found(row) for row in rows if group_of(row) == n) for n in names}
    return groups


def false_alarms(cases: Sequence[Case]) -> dict[str, Any]:
    """Return false alarms a picture, among good pictures that were read."""
    read = [case for case in cases if case.condition == "good" and _read(case)]
    result: dict[str, Any] = {}
    for name, some in (
        ("without camera faults", [case for case in read if not case.about["camera_faults"]]),
        ("with camera faults", [case for case in read if case.about["camera_faults"]]),
    ):
        alarms = [row for case in some for row in case.false_alarms]
        large = [sum(_counts(row) for row in case.false_alarms) for case in some]
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


def _counts(row: Row) -> bool:
    return bool(row["size"] >= 2.0 and row["inner"] <= 60.0)


def _zone(radius: float) -> str:
    return "A" if radius <= 12.5 else "B" if radius <= 57.5 else "C" if radius <= 67.5 else "D"


def _read(case: Case) -> bool:
    return _given_default(case) != "unreadable"


def fits(cases: Sequence[Case]) -> dict[str, Any]:
    """Return the errors of fit, blur and core, among good pictures."""
    rows = [case.fit for case in cases if case.condition == "good" and case.fit["fitted"]]
    names = ("centre_um", "diameter_percent", "blur_um", "core_centre_um", "core_diameter_um")
    result: dict[str, Any] = {name: spread(row[name] for row in rows if name in row) for name in names}
    result["polarity right"] = rate(row["polarity_right"] for row in rows)
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
        for band in sorted({_band(row[key], bounds) for row in some}):
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
        "unreadable refused": rate(not _read(case) for case in bad),
        "by condition": {k: rate(not _read(case) for case in bad if case.condition == k) for k in kinds},
        "reasons": table((case.condition, case.fit.get("reason", "fitted")) for case in bad),
        "no fibre, yet fitted": rate(case.fit["fitted"] for case in bad if case.condition == "no_fibre"),
        "readable refused": rate(not _read(case) for case in good),
    }


def _limits(cases: Sequence[Case], all_figures: Row) -> list[Row]:
    """Return the figures that are asked for, with what is asked."""
    rows = features_of(cases)
    defects, scratches = ([r for r in rows if r["form"] == form] for form in ("defect", "scratch"))
    paired = [row for row in rows if row["how"] == "found" and not row["shared"]]
    good = [case for case in cases if case.condition == "good"]
    clean = [case for case in good if not case.true and case.about["contents"] == "clean"]
    pairs = [pair for case in good for pair in case.verdicts.values()]
    alarms = all_figures["false alarms"]
    sizes_ = all_figures["sizes"]
    lines: list[Row] = []

    def share(name: str, flags: Iterable[bool], asked: float, *, most: bool = False) -> None:
        it = rate(flags)
        kept = it["share"] <= asked if most else it["share"] >= asked
        lines.append({"figure": name, "rate": it, "asked": asked, "most": most, "kept": bool(kept)})

    def error(name: str, value: float, asked: float, *, most: bool = True) -> None:
        kept = value <= asked if most else value >= asked
        lines.append({"figure": name, "value": value, "asked": asked, "most": most, "kept": bool(kept)})

    def depth(row: Row) -> float:
        return abs(float(row["contrast"]))

    error("cladding centre error, µm, p95", all_figures["fit"]["centre_um"]["p95"], 0.05)
    error("cladding diameter error, %, p95", all_figures["fit"]["diameter_percent"]["p95"], 0.35)
    share(
        "defects ≥ 2 µm, contrast ≥ 0.3, found",
        (_was_found(r) for r in defects if r["size"] >= 2 and depth(r) >= 0.3),
        0.995,
    )
    share(
        "defects ≥ 2 µm, contrast 0.1–0.3, found",
        (_was_found(r) for r in defects if r["size"] >= 2 and 0.1 <= depth(r) < 0.3),
        0.95,
    )
    share(
        "scratches ≥ 0.9 µm, contrast ≥ 0.18, found",
        (_was_found(r) for r in scratches if r["width"] >= 0.9 and depth(r) >= 0.18),
        0.98,
    )
    share(
        "scratches 0.5–3.5 µm, contrast 0.07–0.2, found",
        (_was_found(r) for r in scratches if 0.5 <= r["width"] <= 3.5 and 0.07 <= depth(r) <= 0.2),
        0.85,
    )
    error("outline overlap, defects ≥ 3 µm, median", sizes_["overlap"]["p50"], 0.8, most=False)
    for name, asked in (("without camera faults", 0.01), ("with camera faults", 0.03)):
        error(
            f"false alarms ≥ 2 µm inside 60 µm a picture, {name}",
            alarms[name]["2 µm and more inside 60 µm, a picture"],
            asked,
        )
    share("clean faces failed", (_given_default(case) == "fail" for case in clean), 0.0, most=True)
    share("clean faces passed", (_given_default(case) == "pass" for case in clean), 1.0)
    error("defect size error, µm, p90", sizes_["defect size error"]["p90"], 0.4)
    error("scratch width error, µm, p90", sizes_["scratch width error"]["p90"], 0.7)
    share("form right", (r["form"] == r["found_form"] for r in paired), 0.98)
    share("cause right", (r["cause"] == r["found_cause"] for r in paired), 0.90)
    share(
        "passes among faces owed a fail, all sets",
        (g == "pass" for o, g in pairs if o == "fail"),
        0.0,
        most=True,
    )
    share(
        "fails among faces owed a pass, all sets",
        (g == "fail" for o, g in pairs if o == "pass"),
        0.01,
        most=True,
    )
    share("unreadable pictures refused", (not _read(c) for c in cases if c.condition != "good"), 1.0)
    share("readable pictures refused", (not _read(c) for c in good), 0.01, most=True)
    for form in ("defect size", "scratch width"):
        share(f"stated 95 % interval holds, {form} (93–97 %)", _flags(sizes_[f"{form} coverage"]), 0.93)
        lines[-1]["kept"] = 0.93 <= lines[-1]["rate"]["share"] <= 0.97
    return lines  # fmt: skip


def _flags(it: Rate) -> list[bool]:
    return [True] * int(it["count"]) + [False] * int(it["of"] - it["count"])


def _given_default(case: Case) -> str:
    return next(iter(case.verdicts.values()))[1]


def worst(cases: Sequence[Case], most: int = 40) -> list[Row]:
    """Return the pictures that went most wrong: a score, and in words what."""
    rows: list[Row] = []
    for case in cases:
        wrong = list(_wrongs(case))
        if wrong:
            rows.append({"seed": case.seed, "score": sum(score for score, _ in wrong),
                         "what": "; ".join(words for _, words in wrong), "about": case.about})  # fmt: skip
    return sorted(rows, key=lambda row: (-row["score"], row["seed"]))[:most]


def _wrongs(case: Case) -> Iterable[tuple[float, str]]:
    owes, given = next(iter(case.verdicts.values()))
    if case.condition != "good":
        if given != "unreadable":
            yield 20, f"{case.condition}, yet {given}"
        return
    if given == "unreadable":
        yield 10, f"readable, yet refused: {' '.join(case.reasons)}"
        return
    if owes in ("pass", "fail") and given in ("pass", "fail") and owes != given:
        yield 8, f"owed {owes}, given {given}"
    if case.fit.get("centre_um", 0) > 0.1:
        yield 4, f"centre off by {case.fit['centre_um']:.2f} µm"
    if case.fit.get("diameter_percent", 0) > 0.4:
        yield 4, f"diameter off by {case.fit['diameter_percent']:.2f} %"
    for row in case.true:
        if row["how"] == "missed" and not row["why_not"]:
            yield (0.2 if row["faint"] else 2.0), f"missed {row['form']} {row['id']} ({row['cause']})"
    for row in case.false_alarms:
        yield (3.0 if _counts(row) else 0.5), f"false {row['form']} of {row['size']:.1f} µm"


def all_figures(cases: Sequence[Case]) -> Row:
    """Return every figure; nothing in them depends on time or on how many processes worked."""
    rows = features_of(cases)
    unlike = [row for row in features_of(cases, findable=False) if row["why_not"]]
    paired = [row for row in rows if row["how"] == "found" and not row["shared"]]
    result: Row = {
        "pictures": table((c.condition, c.about["contents"] or c.about["fault"]) for c in cases),
        "left out of the found figures": dict(sorted(Counter(row["why_not"] for row in unlike).items())),
        "fit": fits(cases),
        "found": found_by(rows),
        "found, faint ones left out": found_by([row for row in rows if not row["faint"]]),
        "false alarms": false_alarms(cases),
        "sizes": sizes(rows),
        "form": table((row["form"], row["found_form"]) for row in paired),
        "cause": table((row["cause"], row["found_cause"]) for row in paired),
        "scratches in pieces": rate(row["pieces"] > 0 for row in paired if row["form"] == "scratch"),
        "verdicts": verdicts(cases),
        "refusals": refusals(cases),
    }
    result["asked"] = _limits(cases, result)
    result["worst"] = worst(cases)
    return result
