"""The benchmark's report: one page that needs nothing beside it."""

from collections.abc import Iterable, Sequence
from html import escape

from tests.accuracy import matching, truths
from tests.accuracy.figures import features_of
from tests.accuracy.looking import Case, Row
from tests.accuracy.plots import bars, histogram, scatter
from tests.accuracy.words import asked_parts, rate_words, summary

_STYLE = """
body{font:15px/1.45 system-ui,sans-serif;max-width:1320px;margin:2em auto;padding:0 1em;color:#222}
table{border-collapse:collapse;margin:.6em 0}
td,th{padding:.15em .8em .15em 0;text-align:left;vertical-align:top}
th{border-bottom:1px solid #888}tr.no td{background:#fbeee6}svg text{font:11px system-ui,sans-serif}
.row{display:flex;flex-wrap:wrap;gap:1em}code{background:#f2f2f2}.num td+td{text-align:right}
"""


def page(seeds: str, cases: Sequence[Case], figures: Row, took: Row) -> str:
    """Return the report as HTML."""
    head = f"<title>Accuracy, {seeds} seeds</title><meta charset='utf-8'><style>{_STYLE}</style>"
    good = sum(case.condition == "good" for case in cases)
    parts = [
        f"<!doctype html><html lang='en-GB'><head>{head}</head><body><h1>Accuracy on rendered faces</h1>",
        f"<p>{len(cases)} pictures of the {seeds} seeds: {good} good ones and {len(cases) - good} that must "
        "be refused. Every picture and its truth come from the renderer, so that these are figures for "
        "rendered faces and say nothing of a real scope. Intervals are Wilson's at 95 %.</p>",
        "<h2>What is asked</h2>",
        _table(("figure", "value", "asked"), [(asked_parts(row), row["kept"]) for row in figures["asked"]]),
        "<h2>Fit</h2>",
        _fit_plots(cases),
        "<h2>Found</h2>",
        "<p>Findable: in view and not hidden. Faint ones (matched-filter signal to noise below 8) are "
        "included. Marked points were missed; hover for seed and number.</p>",
        _found_plots(cases),
        *(bars(f"By {name}", groups) for name, groups in figures["found"].items()),
        "<h2>Sizes</h2>",
        _size_plots(cases),
        "<h2>Form and cause, true (down) and found (across)</h2>",
        _confusion(figures["form"]),
        _confusion(figures["cause"]),
        "<h2>Verdicts, owed (down) and given (across)</h2>",
        *(
            f"<p>{escape(name)}; {it['left out, too close to call']} too close to call left out</p>"
            + _confusion(it["owed and given"])
            for name, it in figures["verdicts"].items()
        ),
        "<h2>Refusals</h2>",
        _table(("pictures", "share"), _rates(figures["refusals"])),
        bars("Refused, by what is wrong with the picture", figures["refusals"]["by condition"]),
        _confusion(figures["refusals"]["reasons"]),
        "<h2>Time</h2>",
        histogram(
            "Measuring and grading", "s a picture", [c.seconds for c in cases if c.condition == "good"]
        ),
        f"<p>{', '.join(f'{name} {value:.2f} s' for name, value in took.items())}</p>",
        "<h2>Worst pictures</h2>",
        _worst(figures["worst"]),
        f"<h2>Rules</h2><pre>{escape(matching.__doc__ or '')}\n{escape(truths.__doc__ or '')}</pre>",
        f"<h2>All figures</h2><pre>{escape(chr(10).join(summary(figures)))}</pre></body></html>",
    ]
    return "\n".join(parts)


def _table(head: Sequence[str], rows: Iterable[tuple[Sequence[str], bool]]) -> str:
    """Return a table; rows that are not as asked are marked by colour and a word."""
    top = "".join(f"<th>{escape(cell)}</th>" for cell in head)
    lines = []
    for cells, kept in rows:
        inside = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        lines.append(
            f"<tr{'' if kept else ' class=no'}>{inside}<td>{'' if kept else 'not reached'}</td></tr>"
        )
    return f"<table><tr>{top}</tr>{''.join(lines)}</table>"


def _rates(refusals: Row) -> list[tuple[tuple[str, str], bool]]:
    names = ("unreadable refused", "no fibre, yet fitted", "readable refused")
    return [((name, rate_words(refusals[name])), True) for name in names]


def _confusion(table: dict[str, dict[str, int]]) -> str:
    names = sorted({name for given in table.values() for name in given})
    head = "".join(f"<th>{escape(name)}</th>" for name in names)
    lines = [
        f"<tr><td>{escape(true)}</td>{''.join(f'<td>{given.get(name, 0)}</td>' for name in names)}</tr>"
        for true, given in table.items()
    ]
    return f"<table class=num><tr><th></th>{head}</tr>{''.join(lines)}</table>"


def _fit_plots(cases: Sequence[Case]) -> str:
    fits = [case.fit for case in cases if case.condition == "good" and case.fit["fitted"]]
    plots = [
        histogram("Centre of the cladding", "error, µm", [f["centre_um"] for f in fits], 0.05),
        histogram("Diameter of the cladding", "error, %", [f["diameter_percent"] for f in fits], 0.35),
        histogram("Blur, found less true", "µm", [f["blur_um"] for f in fits]),
    ]
    return f"<div class=row>{''.join(plots)}</div>"


def _name(row: Row) -> str:
    return f"seed {row['seed']}, feature {row['id']}, {row['cause']}, zone {row['zone']}"


def _found_plots(cases: Sequence[Case]) -> str:
    plots = []
    for form, key, label in (("defect", "size", "size, µm"), ("scratch", "width", "width, µm")):
        points = [
            (row[key], abs(row["contrast"]), row["how"] == "missed", _name(row))
            for row in features_of(cases)
            if row["form"] == form
        ]
        title = f"Contrast of {'defects' if form == 'defect' else 'scratches'} found and missed"
        plots.append(scatter(title, label, points, (0.0, 1.0)))
    return f"<div class=row>{''.join(plots)}</div>"


def _size_plots(cases: Sequence[Case]) -> str:
    plots = []
    for form, key, reach in (("defect", "size", 3.0), ("scratch", "width", 1.5)):
        rows = [
            row
            for row in features_of(cases)
            if row["how"] == "found" and row["form"] == row["found_form"] == form
        ]
        rows = [row for row in rows if row["alone"] and not row["shared"]]
        points = [
            (r[key], r["error"], abs(r["error"]) > 1.96 * r["stated"], f"{_name(r)}: {r['error']:+.2f} µm")
            for r in rows
        ]
        title = f"Error of {form} {key}, µm (marked: outside the stated interval)"
        plots.append(scatter(title, f"true {key}, µm", points, (-reach, reach)))
    return f"<div class=row>{''.join(plots)}</div>"


def _worst(rows: Sequence[Row]) -> str:
    lines = []
    for row in rows:
        about = row["about"]
        kind = f"{about['contents'] or about['fault']}, {about['fibre']}"
        told = f"{kind}, {about['size']}, {about['um_per_px']} µm/px"
        command = f"python -m tests.accuracy --show {row['seed']}"
        lines.append(
            f"<tr><td><code>{command}</code></td><td>{escape(told)}</td><td>{escape(row['what'])}</td></tr>"
        )
    return f"<table><tr><th>command</th><th>picture</th><th>what went wrong</th></tr>{''.join(lines)}</table>"
