"""Our own small builders of charts: a Vega-Lite drawing with its figures as a table beside it.

    chart = charts.expected_and_measured(rows, title=_("Water a day"), unit="m³")      # in the view
    {% chart chart %}                                                                # on the page
    paper.svg(chart)                                                                 # for a report

Rows are dicts; a missing figure is None or NaN and leaves a gap. Colours are named by meaning ("measured", "band"), so
that the same drawing follows the light and dark look in the browser and gets fixed inks on paper. A figure's tip is
written here, in the person's language, as the row's `tip`.
"""

import datetime
from dataclasses import dataclass, field

from django.utils import formats
from django.utils.translation import gettext as _
from django.utils.translation import pgettext

from fleet.web.chart_inks import INKS
from fleet.web.quantities import number

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"  # the drawing's own name of its language; nothing is fetched
MOST_ROWS = 20_000


@dataclass(frozen=True)
class Chart:
    """A drawing, what it shows in a sentence, and its figures as a table."""

    spec: dict
    title: str
    head: list
    rows: list
    summary: str = ""
    height: int = 260
    notes: list = field(default_factory=list)

    @property
    def is_empty(self):
        """Nothing to draw: no rows, or rows without a single figure."""
        if not self.rows:
            return True
        if "layer" in self.spec:
            return not self.spec["layer"]
        return all(row.get("value") is None for row in self.spec["data"]["values"])


def _spec(rows, height=260, **more):
    if len(rows) > MOST_ROWS:
        raise ValueError(f"A chart of {len(rows)} rows: thin them out to {MOST_ROWS} at most first.")
    return {
        "$schema": SCHEMA,
        "data": {"values": rows},
        "width": "container",
        "height": height,
        "autosize": {"type": "fit-x", "contains": "padding"},
    } | more


def _figure(value):
    """A plain float, or None for what is not known; arrays' own numbers and NaN do not fit into JSON."""
    return None if value is None or value != value else float(value)


def _figures(row, *names):
    return {name: _figure(row.get(name)) for name in names}


def _day(value):
    return value if isinstance(value, str) else value.isoformat()[:10]


def _day_words(value):
    return value if isinstance(value, str) else formats.date_format(value, "j M Y")


def _with_figures(values, layers):
    """Only the layers that have something to draw: (name of the figure, layer). One without rows has no scale."""
    return [layer for name, layer in layers if any(v[name] is not None for v in values)]


def _order(values, name):
    """As the rows came: left to itself the drawing would put words with a missing figure last."""
    return list(dict.fromkeys(v[name] for v in values))


def _days(values):
    # Days are days, wherever the reader's clock stands: the scale is UTC and nothing is shifted.
    days = sorted(datetime.date.fromisoformat(v["day"]) for v in values)
    years = bool(days) and (days[-1] - days[0]).days > 270
    return {
        "field": "day", "type": "temporal", "timeUnit": "utcyearmonthdate", "scale": {"type": "utc"}, "title": None,
        "axis": {"tickCount": 6, "labelAngle": 0, "format": "%b %Y" if years else "%-d %b"},
    }  # fmt: skip


def _amount(name, title, zero=True, **more):
    return {"field": name, "type": "quantitative", "title": title, "scale": {"zero": zero, "nice": True}} | more


def expected_and_measured(rows, *, title, unit, decimals=1, events=(), height=260):
    """Expected band with its middle, and what was measured, by day.

    `rows`: day (date), low, middle, high, measured, in `unit`. `events`: (date, word) drawn as upright lines.
    """
    values, table = [], []
    for row in rows:
        figures = _figures(row, "low", "middle", "high", "measured")
        words = _day_words(row["day"])
        band = f"{number(figures['low'], decimals)} – {number(figures['high'], decimals)}"
        tip = f"{words}\n" + _("measured") + f" {number(figures['measured'], decimals)} {unit}\n" + (
            _("expected") + f" {band} {unit}"
        )
        values.append({"day": _day(row["day"]), **figures, "tip": tip})
        table.append([words, number(figures["measured"], decimals), number(figures["middle"], decimals), band])
    x, y = _days(values), unit
    measured = {"x": x, "y": _amount("measured", y), "tooltip": {"field": "tip"}}
    layers = _with_figures(values, [
        ("low", {"mark": {"type": "area", "style": "band", "interpolate": "monotone"},
                 "encoding": {"x": x, "y": _amount("low", y), "y2": {"field": "high"}}}),
        ("middle", {"mark": {"type": "line", "style": "expected", "interpolate": "monotone"},
                    "encoding": {"x": x, "y": _amount("middle", y)}}),
        ("measured", {"mark": {"type": "line", "style": "measured", "invalid": "break-paths-show-domains"},
                      "encoding": measured}),
        ("measured", {"mark": {"type": "point", "style": "measured-dot", "invalid": "filter"}, "encoding": measured}),
    ])  # fmt: skip
    if events:
        layers += _upright(events, values, x)
    known = [v for v in values if v["measured"] is not None]
    below = [v for v in known if v["low"] is not None and v["measured"] < v["low"]]
    summary = _("%(n)d days measured, %(below)d of them below the expected range.") % {
        "n": len(known), "below": len(below)
    }  # fmt: skip
    head = [_("Day"), _("Measured, %(unit)s") % {"unit": unit}, _("Expected, middle"), _("Expected, range")]
    return Chart(_spec(values, height, layer=layers), title, head, table, summary, height, _legend_measured())


ROOM_OF_A_WORD = 0.32  # of the width, on a telephone
LINE = 14  # pixels from one line of words to the next


def _upright(events, values, x):
    """Layers of upright lines with their words: one that would cross the next line stands before its own, words that
    would meet stand in lines below each other."""
    marks = [{"day": _day(d), "word": str(w), "tip": f"{_day_words(d)}\n{w}"} for d, w in sorted(events, key=_first)]
    days = [datetime.date.fromisoformat(row["day"]) for row in [*values, *marks]]
    first, span = min(days), max((max(days) - min(days)).days, 1)
    lines = []  # where the last word of each line ends
    places = [(datetime.date.fromisoformat(mark["day"]) - first).days / span for mark in marks]
    for mark, at, following in zip(marks, places, [*places[1:], 1.0], strict=True):
        late = at > 1 - ROOM_OF_A_WORD or following - at < ROOM_OF_A_WORD <= at
        start, end = (at - ROOM_OF_A_WORD, at) if late else (at, at + ROOM_OF_A_WORD)
        line = next((n for n, taken in enumerate(lines) if taken <= start), len(lines))
        lines[line:line + 1] = [end]
        mark |= {"line": line, "side": "right" if late else "left"}
    layers = [{"data": {"values": marks}, "mark": {"type": "rule", "style": "event"},
               "encoding": {"x": x, "tooltip": {"field": "tip"}}}]  # fmt: skip
    for line, side in sorted({(m["line"], m["side"]) for m in marks}):
        some = [m for m in marks if (m["line"], m["side"]) == (line, side)]
        word = {"type": "text", "style": "event-word", "align": side, "dx": -4 if side == "right" else 4}
        layers.append(
            {"data": {"values": some}, "mark": word,
             "encoding": {"x": x, "y": {"value": LINE * line}, "text": {"field": "word"}}}
        )  # fmt: skip
    return layers


def _first(pair):
    return _day(pair[0])


def _legend_measured():
    """Drawn as words below the heading: a chart's own legend cannot mix a band, a dashed line and dots."""
    return [("measured", _("measured")), ("expected", _("expected, middle")), ("band", _("expected, range"))]


def bars_by_month(rows, *, title, unit, decimals=0, height=260):
    """Measured before expected, the need as a tick. `rows`: month (word or date), measured, expected, need; what no row
    knows is neither drawn nor named."""
    values, table = [], []
    there = [name for name, _word in _month_words() if any(_figure(row[name]) is not None for row in rows)]
    for row in rows:
        month = row["month"] if isinstance(row["month"], str) else formats.date_format(row["month"], "M Y")
        figures = _figures(row, "measured", "expected", "need")
        known = [(word, figures[k]) for k, word in _month_words() if figures[k] is not None]
        tip = "\n".join([month] + [f"{word} {number(figure, decimals)} {unit}" for word, figure in known])
        values.append({"month": month, **figures, "tip": tip})
        table.append([month] + [number(figures[k], decimals) for k in there])
    x = {"field": "month", "type": "ordinal", "sort": _order(values, "month"), "title": None, "axis": {"labelAngle": 0}}
    tip = {"field": "tip"}
    layers = _with_figures(values, [
        (name, {"mark": mark | {"width": {"band": wide}},
                "encoding": {"x": x, "y": _amount(name, unit), "tooltip": tip}})
        for name, mark, wide in (
            ("expected", {"type": "bar", "style": "expected-bar"}, 0.8),
            ("measured", {"type": "bar", "style": "measured-bar"}, 0.46),
            ("need", {"type": "tick", "style": "need", "invalid": "filter"}, 0.9),
        )
    ])  # fmt: skip
    head = [_("Month")] + [f"{word}, {unit}" for key, word in _month_words() if key in there]
    notes = [(key if key == "need" else f"{key}-bar", word) for key, word in _month_words() if key in there]
    return Chart(_spec(values, height, layer=layers), title, head, table, "", height, notes)


def _month_words():
    return [("measured", _("measured")), ("expected", _("expected")), ("need", _("need"))]


def ranked_bars(rows, *, title, unit, decimals=0, mark_below=None, whole=None):
    """Lying bars in the given order, with an optional range. `rows`: name, value, low, high, note.

    `mark_below` colours bars below that value as short (and says so in the table); `whole` ends the axis there.
    """
    values, table = [], []
    for row in rows:
        value, low, high = _figures(row, "value", "low", "high").values()
        short = mark_below is not None and value is not None and value < mark_below
        words = f"{number(value, decimals)} {unit}".strip()
        if low is not None and high is not None:
            words += f" ({number(low, decimals)} – {number(high, decimals)})"
        tip = "\n".join(filter(None, [str(row["name"]), words, str(row.get("note") or "")]))
        values.append(
            {"name": str(row["name"]), "value": value, "low": low, "high": high, "short": short, "tip": tip}
        )
        table.append([str(row["name"]), words, str(row.get("note") or "")])
    y = {"field": "name", "type": "nominal", "sort": _order(values, "name"), "title": None,
         "axis": {"labelLimit": 150, "grid": False, "titleAngle": 0}}  # fmt: skip
    scale = {"zero": True, "nice": True} | ({"domain": [0, whole], "clamp": True} if whole else {})
    x = {"field": "value", "type": "quantitative", "title": unit or None, "scale": scale, "axis": {"grid": True}}
    tip = {"field": "tip"}
    colour = {"condition": {"test": "datum.short", "value": INKS["bad"][0]}, "value": INKS["accent"][0]}
    layers = _with_figures(values, [
        ("value", {"mark": {"type": "bar"}, "encoding": {"x": x, "y": y, "tooltip": tip, "color": colour}}),
        ("low", {"transform": [{"filter": "isValid(datum.low) && isValid(datum.high)"}],
                 "mark": {"type": "rule", "style": "range-rule"},
                 "encoding": {"x": x | {"field": "low"}, "x2": {"field": "high"}, "y": y, "tooltip": tip}}),
    ])  # fmt: skip
    height = max(80, 30 * len(rows))
    head = [pgettext("column", "Name"), unit or _("Value"), _("Note")]
    return Chart(_spec(values, height, layer=layers), title, head, table, "", height)


def heat_map(rows, *, title, x_title, y_title, unit, decimals=0, diverging_at=None):
    """Cells shaded by value. `rows`: x, y (words, in order of appearance), value. `diverging_at`: the pale middle."""
    values, table = [], []
    for row in rows:
        words = number(row.get("value"), decimals)
        tip = f"{row['y']}, {row['x']}\n{words} {unit}"
        values.append({"x": str(row["x"]), "y": str(row["y"]), "value": _figure(row.get("value")), "tip": tip})
        table.append([str(row["y"]), str(row["x"]), words])
    scale = {"range": "diverging", "domainMid": diverging_at} if diverging_at is not None else {"range": "heatmap"}
    x_order, y_order = _order(values, "x"), _order(values, "y")
    encoding = {
        "x": {"field": "x", "type": "ordinal", "sort": x_order, "title": x_title, "axis": {"labelAngle": 0}},
        "y": {"field": "y", "type": "ordinal", "sort": y_order, "title": None, "axis": {"titleAngle": 0}},
        "color": {"field": "value", "type": "quantitative", "scale": scale, "title": unit,
                  "legend": {"title": unit, "gradientLength": 110, "orient": "top", "direction": "horizontal"}},
        "tooltip": {"field": "tip"},
    }  # fmt: skip
    mark = {"type": "rect", "stroke": INKS["surface"][0], "strokeWidth": 1}
    spec = _spec(values, max(120, 26 * len({v["y"] for v in values})), mark=mark, encoding=encoding)
    return Chart(spec, title, [y_title, x_title, unit], table, "", spec["height"])


def waterfall(steps, *, title, unit, decimals=0):
    """From what was expected down to what was measured, as lying bars. `steps`: (name, figure).

    The first figure is the starting whole, each following one a change to it, the last one the end whole itself.
    """
    values, table, level = [], [], 0.0
    for i, (name, figure) in enumerate(steps):
        whole, figure = i in (0, len(steps) - 1), float(figure)
        start, end = (0.0, figure) if whole else (level, level + figure)
        level = end
        kind = "whole" if whole else ("loss" if figure < 0 else "gain")
        words = f"{'' if whole or figure < 0 else '+'}{number(figure, decimals)}"
        values.append(
            {"name": str(name), "start": start, "end": end, "edge": max(start, end), "kind": kind, "words": words,
             "tip": f"{name}\n{words} {unit}"}
        )  # fmt: skip
        table.append([str(name), words])
    tip = {"field": "tip"}
    y = {"field": "name", "type": "ordinal", "sort": _order(values, "name"), "title": None,
         "axis": {"labelLimit": 150, "titleAngle": 0}}  # fmt: skip
    x = _amount("start", unit, axis={"grid": True, "tickCount": 4})
    layers = [  # a kind without rows would have no scale
        {"transform": [{"filter": f"datum.kind == '{kind}'"}], "mark": {"type": "bar", "style": f"{kind}-bar"},
         "encoding": {"y": y, "x": x, "x2": {"field": "end"}, "tooltip": tip}}
        for kind in _order(values, "kind")
    ]  # fmt: skip
    words = {"y": y, "x": x | {"field": "edge"}, "text": {"field": "words"}, "tooltip": tip}
    layers.append({"mark": {"type": "text", "align": "left", "dx": 5}, "encoding": words})
    height = max(80, 34 * len(steps))
    return Chart(_spec(values, height, layer=layers), title, [_("Stage"), unit], table, "", height)


def pump_curve(rows, *, title, point=None, height=300):
    """Flow over head, a line a power. `rows`: head_m, flow_l_min, power_w. `point`: (head_m, flow_l_min, word)."""
    values, table = [], []
    for row in sorted(rows, key=lambda r: (r["power_w"], r["head_m"])):
        power = f"{number(row['power_w'])} W"
        tip = f"{power}\n{number(row['head_m'], 1)} m: {number(row['flow_l_min'], 1)} L/min"
        values.append({"head": _figure(row["head_m"]), "flow": _figure(row["flow_l_min"]), "power": power, "tip": tip})
        table.append([power, number(row["head_m"], 1), number(row["flow_l_min"], 1)])
    x = _amount("head", _("head, m"), axis={"grid": True, "tickCount": 6})
    y = _amount("flow", "L/min")
    order = _order(values, "power")
    colour = {"field": "power", "type": "nominal", "sort": order, "title": None}
    dashes = {"field": "power", "type": "nominal", "sort": order, "legend": None}
    tip = {"field": "tip"}
    layers = [
        {"mark": {"type": "line", "point": True}, "encoding": {
            "x": x, "y": y, "color": colour, "strokeDash": dashes, "tooltip": tip}},
    ]  # fmt: skip
    if point:
        head_m, flow, word = point
        words = f"{word}\n{number(head_m, 1)} m: {number(flow, 1)} L/min"
        here = {"values": [{"head": _figure(head_m), "flow": _figure(flow), "tip": words}]}
        layers.append(
            {"data": here, "mark": {"type": "point", "shape": "diamond", "size": 180, "fill": INKS["measured"][0],
                                    "stroke": INKS["surface"][0], "strokeWidth": 2},
             "encoding": {"x": x, "y": y, "tooltip": tip}}
        )  # fmt: skip
        table.append([str(word), number(head_m, 1), number(flow, 1)])
    return Chart(
        _spec(values, height, layer=layers), title, [_("Power"), _("Head, m"), _("Flow, L/min")], table, "", height
    )


# How a line is told by what it means: its ink, its dashes.
LINE_STYLES = {"expected": ("expected", [6, 4]), "measured-line": ("measured", [1, 0]), "earlier": ("unsure", [2, 3])}


def lines(rows, *, title, x_title, y_title, decimals=1, stepped=False, zero=True, height=260, styles=None):
    """One line a series over a number. `rows`: x, y, series (word; may be left out), low, high (band, optional).

    For a day's shape, a survival curve (`stepped`), litres by tilt. `styles`: {series: one of LINE_STYLES}, named below
    the heading; without it each line has the next colour and the drawing a legend of its own.
    """
    values, table = [], []
    for row in rows:
        series = str(row.get("series") or y_title)
        tip = f"{series}\n{number(row['x'], 2)} {x_title}: {number(row.get('y'), decimals)} {y_title}"
        values.append(_figures(row, "x", "y", "low", "high") | {"series": series, "tip": tip})
        table.append([series, number(row["x"], 2), number(row.get("y"), decimals)])
    order = _order(values, "series")
    x = {"field": "x", "type": "quantitative", "title": x_title, "scale": {"zero": False, "nice": False},
         "axis": {"tickMinStep": 1}}  # fmt: skip
    colour = {"field": "series", "type": "nominal", "sort": order, "title": None}
    dashes = {"field": "series", "type": "nominal", "sort": order, "legend": None}
    if len(order) == 1 or styles:
        colour["legend"] = None
    if styles:
        drawn = [LINE_STYLES[styles[word]] for word in order]
        colour["scale"] = {"domain": order, "range": [INKS[ink][0] for ink, _dash in drawn]}
        dashes["scale"] = {"domain": order, "range": [dash for _ink, dash in drawn]}
    shape = {"interpolate": "step-after"} if stepped else {"interpolate": "monotone"}
    mark = {"x": x, "y": _amount("y", y_title, zero=zero), "color": colour, "strokeDash": dashes}
    band = {"x": x, "y": _amount("low", y_title, zero=zero), "y2": {"field": "high"}, "detail": {"field": "series"}}
    aim = {"x": x, "y": _amount("y", y_title, zero=zero), "tooltip": {"field": "tip"}}
    layers = _with_figures(values, [
        ("low", {"mark": {"type": "area", "style": "band"} | shape, "encoding": band}),
        ("y", {"mark": {"type": "line", "invalid": "break-paths-show-domains"} | shape, "encoding": mark}),
        ("y", {"mark": {"type": "point", "style": "hidden-target", "size": 200, "invalid": "filter"}, "encoding": aim}),
    ])  # fmt: skip
    notes = [(styles[word], word) for word in order] if styles else []
    return Chart(_spec(values, height, layer=layers), title, [_("Line"), x_title, y_title], table, "", height, notes)
