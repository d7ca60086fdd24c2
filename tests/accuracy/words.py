"""The figures as text for a terminal."""

from collections.abc import Iterable, Sequence
from typing import Any

from tests.accuracy.figures import Rate, features_of
from tests.accuracy.looking import Case, Row


def rate_words(it: Rate) -> str:
    """Return count, share and interval."""
    if not it["of"]:
        return "none"
    share = f"{100 * it['share']:.1f} % [{100 * it['low']:.1f}, {100 * it['high']:.1f}]"
    return f"{share} ({it['count']:.0f}/{it['of']:.0f})"


def asked_parts(row: Row) -> tuple[str, str, str]:
    """Return name, value and what is asked of one figure."""
    sign = "≤" if row["most"] else "≥"
    if "rate" in row:
        return row["figure"], rate_words(row["rate"]), f"{sign} {100 * row['asked']:g} %"
    return row["figure"], f"{row['value']:.3f}", f"{sign} {row['asked']:g}"


def asked_lines(rows: Sequence[Row]) -> Iterable[str]:
    """Yield one line for each figure that is asked for; a cross marks those not reached."""
    for row in rows:
        name, value, asked = asked_parts(row)
        yield f"{'  ' if row['kept'] else '✗ '}{name:<66} {value:<34} {asked}"


def confusion_lines(table: dict[str, dict[str, int]]) -> Iterable[str]:
    """Yield one line for each true value of a confusion table."""
    for true, given in table.items():
        yield f"    {true:<16} → " + ", ".join(f"{name} {count}" for name, count in given.items())


def summary(figures: Row) -> Iterable[str]:
    """Yield the figures, compact."""
    yield "Asked for"
    yield from asked_lines(figures["asked"])
    yield "Fit (p50, p95, largest)"
    for name, it in figures["fit"].items():
        if "p95" in it:
            yield f"    {name:<20} {it['p50']:.3f}  {it['p95']:.3f}  {it['max']:.3f}   ({it['of']})"
    yield f"    arrays, a neighbour fitted: {rate_words(figures['fit']['arrays, a neighbour fitted'])}"
    yield from confusion_lines(figures["fit"]["core kind"])
    for name, groups in figures["found"].items():
        yield f"Found by {name}"
        firm = figures["found, faint ones left out"][name]
        for group, it in groups.items():
            beside = f"   not faint: {rate_words(firm[group])}" if group in firm else ""
            yield f"    {group:<38} {rate_words(it):<36}{beside}"
    yield from _alarms(figures["false alarms"])
    yield from _sizes(figures["sizes"])
    for name in ("form", "cause"):
        yield f"{name.capitalize()}, true → found"
        yield from confusion_lines(figures[name])
    for name, it in figures["in pieces"].items():
        yield f"Found in more than one piece, {name}: {rate_words(it)}"
    for name, it in figures["verdicts"].items():
        yield f"Verdict by {name} ({it['left out, too close to call']} too close to call left out)"
        yield from confusion_lines(it["owed and given"])
    yield "Refusals"
    for name in ("unreadable refused", "no fibre, yet fitted", "readable refused"):
        yield f"    {name:<24} {rate_words(figures['refusals'][name])}"
    yield from confusion_lines(figures["refusals"]["reasons"])


def _alarms(alarms: dict[str, Any]) -> Iterable[str]:
    for name, it in alarms.items():
        yield f"False alarms {name}: {it['all']} in {it['pictures']} pictures"
        for by in ("by zone", "by size", "by contrast"):
            yield f"    {by}: " + "; ".join(
                f"{group}: {', '.join(f'{n} {form}' for form, n in counts.items())}"
                for group, counts in it[by].items()
            )


def _sizes(sizes: dict[str, Any]) -> Iterable[str]:
    yield "Sizes, features that touch nothing (p50, p90, p95, bias; stated interval holds)"
    for name, it in sizes["by size"].items():
        e = it["error"]
        numbers = f"{e['p50']:.2f}  {e['p90']:.2f}  {e['p95']:.2f}  {it['bias']:+.2f}"
        yield f"    {name:<32} {numbers}   {rate_words(it['coverage'])}"


def misses(cases: Sequence[Case]) -> Iterable[str]:
    """Yield every miss and false alarm: seed, what, size, contrast, place, signal to noise."""
    yield "Missed"
    rows = [row for row in features_of(cases) if row["how"] == "missed"]
    for row in sorted(rows, key=lambda row: (row["faint"], -abs(row["contrast"]) * row["size"])):
        size = f"width {row['width']:.2f}" if row["form"] == "scratch" else f"size {row['size']:.1f}"
        yield (
            f"    {row['seed']} #{row['id']:<3} {row['cause']:<14} {size:<11} contrast {row['contrast']:+.2f}"
            f"  zone {row['zone']} at {row['at']}  signal to noise {row['snr']:.0f}"
        )
    yield "False alarms"
    for case in cases:
        for row in case.false_alarms:
            faults = ", camera faults" if case.about.get("camera_faults") else ""
            yield (
                f"    {case.seed} {row['form']} {row['cause']} size {row['size']:.1f}"
                f" width {row['width']:.2f} contrast {row['contrast']:+.2f} at {row['at']}"
                f" (inner {row['inner']}; {case.condition}, {case.about['contents']}{faults})"
            )
    yield "Verdict not as owed"
    for case in cases:
        for name, (owes, given) in case.verdicts.items():
            if {owes, given} == {"pass", "fail"}:
                yield f"    {case.seed} owed {owes}, given {given} by {name} ({case.about['contents']})"
    yield "Cause or form wrong"
    for row in features_of(cases):
        if row["how"] == "found" and (row["form"], row["cause"]) != (row["found_form"], row["found_cause"]):
            yield (
                f"    {row['seed']} #{row['id']:<3} {row['form']} {row['cause']} → {row['found_form']} "
                f"{row['found_cause']}  size {row['size']:.1f} contrast {row['contrast']:+.2f} at {row['at']}"
            )


def worst_lines(figures: Row) -> Iterable[str]:
    """Yield the worst pictures with what went wrong."""
    yield "Worst pictures (draw one with: python -m tests.accuracy --show SEED)"
    for row in figures["worst"]:
        about = row["about"]
        told = f"{about['contents'] or about['fault']}, {about['size']}, {about['um_per_px']:.3f} µm/px"
        yield f"    {row['seed']}  {row['score']:5.1f}  [{told}]  {row['what']}"
