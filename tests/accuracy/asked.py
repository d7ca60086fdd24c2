"""The figures that are asked for, with what is asked; the worst pictures; and everything together."""

from collections import Counter
from collections.abc import Iterable, Sequence

from tests.accuracy.figures import (
    ANOTHER_UM,
    Rate,
    counts,
    false_alarms,
    features_of,
    fits,
    found_by,
    given_default,
    rate,
    read,
    refusals,
    sizes,
    table,
    verdicts,
    was_found,
)
from tests.accuracy.looking import Case, Row


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
    for words, low, high, asked in (("≥ 0.3", 0.3, 9.0, 0.995), ("0.1–0.3", 0.1, 0.3, 0.95)):
        some = [r for r in defects if r["size"] >= 2 and low <= depth(r) < high]
        share(f"defects ≥ 2 µm, contrast {words}, found", map(was_found, some), asked)
        clear = [r for r in some if not r["faint"]]
        share("  … of these, faint ones left out", map(was_found, clear), asked)
    share(
        "scratches ≥ 0.9 µm, contrast ≥ 0.18, found",
        (was_found(r) for r in scratches if r["width"] >= 0.9 and depth(r) >= 0.18),
        0.98,
    )
    share(
        "scratches 0.5–3.5 µm, contrast 0.07–0.2, found",
        (was_found(r) for r in scratches if 0.5 <= r["width"] <= 3.5 and 0.07 <= depth(r) <= 0.2),
        0.85,
    )
    error("outline overlap, defects ≥ 3 µm, median", sizes_["overlap"]["p50"], 0.8, most=False)
    for name, asked in (("without camera faults", 0.01), ("with camera faults", 0.03)):
        error(
            f"false alarms ≥ 2 µm inside 60 µm a picture, {name}",
            alarms[name]["2 µm and more inside 60 µm, a picture"],
            asked,
        )
    share("clean faces failed", (given_default(case) == "fail" for case in clean), 0.0, most=True)
    share("clean faces passed", (given_default(case) == "pass" for case in clean), 1.0)
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
    share("unreadable pictures refused", (not read(c) for c in cases if c.condition != "good"), 1.0)
    share("readable pictures refused", (not read(c) for c in good), 0.01, most=True)
    for form in ("defect size", "scratch width"):
        share(f"stated 95 % interval holds, {form} (93–97 %)", flags(sizes_[f"{form} coverage"]), 0.93)
        lines[-1]["kept"] = 0.93 <= lines[-1]["rate"]["share"] <= 0.97
    return lines  # fmt: skip


def flags(it: Rate) -> list[bool]:
    return [True] * int(it["count"]) + [False] * int(it["of"] - it["count"])


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
    if case.fit.get("centre_um", 0) > ANOTHER_UM:
        yield 4, "fitted a neighbouring fibre, not that nearest the middle"
    elif case.fit.get("centre_um", 0) > 0.1:
        yield 4, f"centre off by {case.fit['centre_um']:.2f} µm"
    if case.fit.get("diameter_percent", 0) > 0.4:
        yield 4, f"diameter off by {case.fit['diameter_percent']:.2f} %"
    for row in case.true:
        if row["how"] == "missed" and not row["why_not"]:
            yield (0.2 if row["faint"] else 2.0), f"missed {row['form']} {row['id']} ({row['cause']})"
    for row in case.false_alarms:
        yield (3.0 if counts(row) else 0.5), f"false {row['form']} of {row['size']:.1f} µm"


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
        "in pieces": {
            form: rate(row["pieces"] > 0 for row in paired if row["form"] == form)
            for form in ("defect", "scratch")
        },
        "verdicts": verdicts(cases),
        "refusals": refusals(cases),
    }
    result["asked"] = _limits(cases, result)
    result["worst"] = worst(cases)
    return result
