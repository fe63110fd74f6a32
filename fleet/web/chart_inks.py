"""Colours and type of charts: the look's own on the screen, fixed inks on paper. Drawings name them by meaning."""

import copy

SCREEN_FONT = 'system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", "DejaVu Sans", sans-serif'
PAPER_FONT = "Libertinus Serif, Liberation Sans, sans-serif"  # the sheets' own type; it comes with the typst package

# Meaning -> the look's own colour on the screen, fixed ink on paper. Paper inks differ in lightness too: they survive a
# black-and-white printer.
INKS = {
    "ink": ("var(--ink)", "#000000"),
    "quiet": ("var(--quiet)", "#444444"),
    "line": ("var(--line)", "#cccccc"),
    "surface": ("var(--surface)", "#ffffff"),
    "accent": ("var(--accent)", "#0b4a59"),
    "band": ("var(--chart-band)", "#cfe3e6"),
    "expected": ("var(--chart-expected)", "#4f8f9b"),
    "measured": ("var(--chart-measured)", "#a3480a"),
    "good": ("var(--good)", "#1c6638"),
    "watch": ("var(--watch)", "#7d4a00"),
    "bad": ("var(--bad)", "#9c231a"),
    "idle": ("var(--chart-idle)", "#b9b0a2"),
    "unsure": ("var(--unsure)", "#56467f"),
}
# Told apart by people who see red and green alike; on both looks at least 3:1.
SERIES = ["var(--chart-1)", "var(--chart-2)", "var(--chart-3)", "var(--chart-4)", "var(--chart-5)", "var(--chart-6)"]
SERIES_ON_PAPER = ["#0b4a59", "#a3480a", "#56467f", "#1c6638", "#96336b", "#555555"]
RAMP = ["#f1ece2", "#c3dcdf", "#84b8c1", "#43899a", "#0b5a6d", "#06323d"]
DIVERGING = ["#8c2f12", "#cf7a45", "#efcfae", "#f1ece2", "#a9d0d5", "#43899a", "#0b4a59"]


def themed(chart, paper=False):
    """The chart's drawing with its inks: those of the look, or of paper."""
    spec = copy.deepcopy(chart.spec)
    spec["config"] = _config(paper)
    if paper:
        spec = _on_paper(spec)
        spec["width"], spec["height"] = spec.get("width_on_paper", 560), spec.get("height", chart.height)
    return spec


def _ink(paper):
    return lambda name: INKS[name][1 if paper else 0]


def _on_paper(part):
    """Any ink of the look named in the drawing itself becomes its ink on paper."""
    inks = dict(INKS.values()) | dict(zip(SERIES, SERIES_ON_PAPER, strict=True))
    if isinstance(part, dict):
        return {key: _on_paper(value) for key, value in part.items()}
    if isinstance(part, list):
        return [_on_paper(value) for value in part]
    return inks.get(part, part) if isinstance(part, str) else part


def _config(paper):
    ink, font = _ink(paper), PAPER_FONT if paper else SCREEN_FONT
    text = {"labelFont": font, "titleFont": font, "labelFontSize": 12, "titleFontSize": 12, "titleFontWeight": 600}
    return {
        "background": None,
        "aria": False,  # the drawing is one picture with a sentence and a table; its parts stay silent
        "font": font,
        "view": {"stroke": None},
        "axis": text | {
            "labelColor": ink("ink"), "titleColor": ink("quiet"), "gridColor": ink("line"), "domainColor": ink("quiet"),
            "tickColor": ink("quiet"), "gridOpacity": 0.7, "labelLimit": 180, "titlePadding": 8, "labelPadding": 4,
        },
        "axisX": {"grid": False, "labelFlush": True, "labelOverlap": True},
        "axisY": {
            "domain": False, "ticks": False, "tickCount": 5, "titleAlign": "left",
            "titleAngle": 0, "titleAnchor": "end", "titleY": -12, "titleX": 0,
        },
        "legend": text | {
            "labelColor": ink("ink"), "titleColor": ink("quiet"), "orient": "top", "title": None, "labelLimit": 220,
            "symbolStrokeWidth": 3, "offset": 26, "columns": 4,
        },
        "header": text | {"labelColor": ink("ink"), "titleColor": ink("quiet")},
        "title": {"font": font, "color": ink("ink"), "fontSize": 14, "anchor": "start"},
        "text": {"font": font, "fontSize": 12, "color": ink("ink")},
        "bar": {"cornerRadiusEnd": 2, "color": ink("accent")},
        "line": {"strokeWidth": 2, "color": ink("accent"), "strokeJoin": "round"},
        "point": {"filled": True, "size": 36, "color": ink("accent"), "opacity": 1},
        "rule": {"color": ink("quiet")},
        "tick": {"color": ink("ink"), "thickness": 3},
        "range": {
            "category": SERIES_ON_PAPER if paper else SERIES, "heatmap": RAMP, "ramp": RAMP, "ordinal": RAMP,
            "diverging": DIVERGING,
        },
        # `color`, not fill or stroke: it is what outranks the kind of mark.
        "style": {
            "band": {"color": ink("band"), "opacity": 1},
            "expected": {"color": ink("expected"), "strokeWidth": 2, "strokeDash": [6, 4]},
            "expected-bar": {"color": ink("band"), "stroke": ink("expected"), "strokeWidth": 1},
            "measured": {"color": ink("measured"), "strokeWidth": 2},
            "measured-dot": {"color": ink("measured"), "size": 34},
            "measured-bar": {"color": ink("measured")},
            "need": {"color": ink("ink"), "thickness": 3},
            "event": {"color": ink("ink"), "strokeDash": [2, 3]},
            "event-word": {"color": ink("ink"), "fontSize": 11, "align": "left", "dx": 4, "baseline": "top"},
            "whole-bar": {"color": ink("accent")},
            "loss-bar": {"color": ink("bad")},
            "gain-bar": {"color": ink("good")},
            "range-rule": {"color": ink("ink"), "strokeWidth": 2},
            "hidden-target": {"opacity": 0},
        },
    }  # fmt: skip
