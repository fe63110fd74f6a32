"""Charts as data, and the same charts on paper."""

import datetime
import json
import math

import pytest
from django.template import Context, Template

from fleet.web import charts, paper, quantities
from fleet.web.chart_inks import themed
from tests.web.gallery import made_up_charts

GALLERY = made_up_charts()
DRAWN = [c for c in GALLERY if not c.is_empty]


def by_title(chart):
    return chart.title


@pytest.mark.parametrize("chart", GALLERY, ids=by_title)
def test_each_chart_has_its_figures_as_a_table_of_the_same_length(chart):
    assert all(len(row) == len(chart.head) for row in chart.rows)


@pytest.mark.parametrize("chart", DRAWN, ids=by_title)
def test_on_paper_no_colour_of_the_screen_is_left(chart):
    assert "var(--" not in json.dumps(themed(chart, paper=True))
    assert "var(--" in json.dumps(themed(chart))


@pytest.mark.parametrize("chart", DRAWN, ids=by_title)
def test_each_chart_is_drawn_on_paper(chart):
    drawing = paper.svg(chart)
    assert drawing.startswith("<svg") and drawing.count("<path") > 3


def test_the_measured_line_stands_at_its_figures():
    """Two days, 0 and 10 on a scale that ends at 10: the dots lie at the foot and at the top of the plot."""
    days = [datetime.date(2026, 3, 1), datetime.date(2026, 3, 2)]
    rows = [{"day": d, "low": 4, "middle": 5, "high": 6, "measured": m} for d, m in zip(days, (0, 10), strict=True)]
    chart = charts.expected_and_measured(rows, title="Two days", unit="m³")
    drawing = paper.svg(chart)
    dots = drawing.split('mark-symbol role-mark layer_3_marks"')[1].split("</g>")[0]
    heights = sorted(float(part.split(")")[0].split(",")[1]) for part in dots.split('transform="translate(')[1:])
    assert heights[0] == pytest.approx(0, abs=0.5)
    assert heights[1] == pytest.approx(chart.height, rel=0.2)


def test_what_is_not_known_leaves_a_gap_and_a_dash():
    rows = [{"day": datetime.date(2026, 3, 1), "low": 1, "middle": 2, "high": 3, "measured": math.nan}]
    chart = charts.expected_and_measured(rows, title="One day", unit="m³")
    assert chart.spec["data"]["values"][0]["measured"] is None
    assert chart.rows[0][1] == "–"
    json.dumps(themed(chart), allow_nan=False)


def test_rows_without_a_single_figure_are_said_to_be_empty():
    rows = [{"day": datetime.date(2026, 3, 1)}]
    assert charts.expected_and_measured(rows, title="Nothing", unit="m³").is_empty


def test_the_waterfall_ends_where_its_steps_lead():
    steps = [("Expected", 1000), ("Array", -200), ("Pump", -300), ("Measured", 500)]
    bars = charts.waterfall(steps, title="Lost", unit="L").spec["data"]["values"]
    assert [(b["start"], b["end"]) for b in bars] == [(0, 1000), (1000, 800), (800, 500), (0, 500)]
    assert [b["kind"] for b in bars] == ["whole", "loss", "loss", "whole"]


def test_text_in_a_chart_cannot_end_its_script():
    chart = charts.ranked_bars([{"name": "</script><b>", "value": 3}], title="Names", unit="%")
    page = Template("{% load web_charts %}{% chart chart %}").render(Context({"chart": chart}))
    assert "</script><b>" not in page
    assert json.loads(page.split('type="application/json">')[1].split("</script>")[0])["data"]["values"][0]["name"] == (
        "</script><b>"
    )


def test_too_many_rows_are_refused():
    rows = [{"x": i, "y": i} for i in range(charts.MOST_ROWS + 1)]
    with pytest.raises(ValueError, match="thin them out"):
        charts.lines(rows, title="Long", x_title="x", y_title="y")


def test_lines_told_by_what_they_mean_are_named_below_the_heading():
    rows = [{"x": x, "y": x, "series": word} for word in ("due", "came") for x in range(3)]
    chart = charts.lines(
        rows, title="Course", x_title="h", y_title="L/min", styles={"due": "expected", "came": "measured-line"}
    )
    assert chart.notes == [("expected", "due"), ("measured-line", "came")]
    line = next(layer["encoding"] for layer in chart.spec["layer"] if layer["mark"]["type"] == "line")
    assert line["color"]["legend"] is None and line["color"]["scale"]["domain"] == ["due", "came"]
    page = Template("{% load web_charts %}{% chart chart %}").render(Context({"chart": chart}))
    assert "key-measured-line" in page and "came</li>" in page


@pytest.fixture
def with_gallery(settings, request):
    templates = dict(settings.TEMPLATES[0])
    templates["DIRS"] = [*templates["DIRS"], request.path.parent / "templates"]
    settings.TEMPLATES = [templates]


def test_a_sheet_with_table_and_charts_becomes_a_pdf(with_gallery):
    named = {f"chart{i}": chart for i, chart in enumerate(GALLERY)}
    data = {"title": "Water of the quarter", "rows": [["Kerewa", "32.0"]] * 60, "charts": list(named)}
    document = paper.pdf("gallery.typ", data, charts=named)
    assert document.startswith(b"%PDF-") and len(document) > 20_000


def test_a_sheet_meets_the_rules_for_accessible_pdf(with_gallery):
    named = {"chart0": GALLERY[0]}
    data = {"title": "Water of the quarter", "rows": [["Kerewa", "32.0"]], "charts": list(named)}
    assert b"pdfuaid" in paper.pdf("gallery.typ", data, charts=named, standard="ua-1")


def test_an_unknown_template_and_a_name_that_leaves_the_folder_are_refused(with_gallery):
    with pytest.raises(FileNotFoundError, match=r"no-such\.typ"):
        paper.pdf("no-such.typ", {})
    with pytest.raises(ValueError, match="plain file name"):
        paper.pdf("gallery.typ", {"title": "", "rows": [], "charts": []}, files={"../out.png": b""})


def test_words_of_upright_lines_that_would_meet_stand_below_each_other():
    first = datetime.date(2026, 1, 1)
    rows = [{"day": first + datetime.timedelta(days=n), "low": 1, "middle": 2, "high": 3, "measured": 2}
            for n in range(100)]  # fmt: skip
    events = [(first + datetime.timedelta(days=n), word) for n, word in ((10, "a"), (14, "b"), (60, "c"), (98, "d"))]
    chart = charts.expected_and_measured(rows, title="Water", unit="m³", events=events)
    lines = {}
    for layer in chart.spec["layer"]:
        if isinstance(layer["mark"], dict) and layer["mark"].get("style") == "event-word":
            for mark in layer["data"]["values"]:
                lines[mark["word"]] = layer["encoding"]["y"]["value"], layer["mark"]["align"]
    assert lines["a"][0] != lines["b"][0]
    assert lines["c"][0] == lines["a"][0]
    assert lines["d"][1] == "right"
    assert lines["d"][0] != lines["c"][0]


def test_a_probability_is_never_said_to_be_certain():
    assert quantities.chance(0.9999) == f"above 99{quantities.GAP}%"
    assert quantities.chance(1) == f"above 99{quantities.GAP}%"
    assert quantities.chance(0.003) == f"below 1{quantities.GAP}%"
    assert quantities.chance(0.62).startswith("62")
    assert quantities.chance(None) == quantities.NONE
