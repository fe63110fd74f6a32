"""A page with every part of the look, for the eye and for the accessibility check. Addresses for tests only."""

import datetime
import math

from django import forms
from django.http import JsonResponse
from django.shortcuts import render
from django.urls import include, path

from fleet.web import charts, paging

DAYS = [datetime.date(2026, 3, 1) + datetime.timedelta(d) for d in range(60)]


def made_up_charts():
    """One of each kind, with gaps, from plain formulas."""
    daily = []
    for i, day in enumerate(DAYS):
        middle = 5.2 + 0.8 * math.sin(i / 9)
        measured = None if i in (20, 21) else middle * (0.97 + 0.05 * math.sin(i * 1.7)) * (0.72 if i > 38 else 1)
        daily.append({"day": day, "low": middle * 0.88, "middle": middle, "high": middle * 1.1, "measured": measured})
    months = [
        {"month": m, "measured": 140 + 9 * i, "expected": 160 + 6 * i, "need": None if i == 2 else 150}
        for i, m in enumerate(["Jan", "Feb", "Mar", "Apr", "May", "Jun"])
    ]
    ranked = [
        {"name": "Kerewa", "value": 96, "low": 93, "high": 99, "note": "12 units"},
        {"name": "Upper Dune District", "value": 88, "low": 84, "high": 93, "note": "31 units"},
        {"name": "Mbali", "value": 71, "low": 62, "high": 80, "note": "9 units"},
    ]
    cells = [
        {"x": m, "y": f"Unit {u}", "value": None if (u + i) % 11 == 0 else 100 - 3 * u - 4 * i}
        for u in range(5)
        for i, m in enumerate(["Jan", "Feb", "Mar", "Apr", "May", "Jun"])
    ]
    curve = [
        {"head_m": h, "flow_l_min": max(0, 0.05 * p - 0.2 * h + 8), "power_w": p}
        for p in (100, 200, 300)
        for h in range(0, 61, 10)
    ]
    shape = [
        {"x": h, "y": max(0, 20 * math.sin((h - 6) / 12 * math.pi)), "series": s} for s in ("Tuesday", "Wednesday")
        for h in range(6, 19)
    ]
    return [
        charts.expected_and_measured(daily, title="Water a day", unit="m³", events=[(DAYS[38], "inspection")]),
        charts.bars_by_month(months, title="Water by month", unit="m³"),
        charts.ranked_bars(ranked, title="Delivered of expected, by district", unit="%", mark_below=80),
        charts.heat_map(cells, title="Share of expected", x_title="Month", y_title="Unit", unit="%"),
        charts.waterfall(
            [("Expected", 5200), ("Array", -640), ("Cable", -120), ("Pump", -1310), ("Measured", 3130)],
            title="Where the water is lost", unit="L/day",
        ),
        charts.pump_curve(curve, title="Flow over head", point=(32, 11.2, "this test")),
        charts.lines(shape, title="Shape of the day", x_title="hour", y_title="L/min"),
        charts.lines([], title="No figures", x_title="hour", y_title="L/min"),
    ]  # fmt: skip


class GalleryForm(forms.Form):
    code = forms.CharField(help_text="As painted on the tank.")
    depth_m = forms.FloatField(label="Depth", required=False)
    kind = forms.ChoiceField(choices=[("a", "drilled"), ("b", "dug")], widget=forms.RadioSelect)
    fenced = forms.BooleanField(required=False, help_text="All round, with a gate.")
    notes = forms.CharField(widget=forms.Textarea, required=False)


def gallery(request):
    form = GalleryForm(request.POST or None)
    context = {
        "charts": made_up_charts(),
        "form": form,
        "filter_form": GalleryForm(request.GET or None),
        "now": datetime.datetime(2026, 11, 3, 9, 5, tzinfo=datetime.UTC),
        "values": [1, 3, 2, None, 4, 5, 2],
        "page": paging.Page([], "abc", "def", 50),
        "tones": ["good", "watch", "bad", "danger", "unsure", "idle", "plain", "info"],
        "shares": [0.62, 0.2, 0.003, None],
    }
    return render(request, "gallery.html", context, status=422 if form.errors else 200)


def places(request):
    """Made-up places on real land, in every state, and one on the other side of the sea."""
    states = ["good", "watch", "bad", "danger", "unsure", "idle"]
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [36.0 + 0.31 * (i % 9), 1.5 + 0.27 * (i // 9)]},
            "properties": {
                "name": f"Place {i + 1:02d}", "address": f"/gallery/?place={i}", "tone": states[i % 6],
                "state": states[i % 6], "note": f"{i * 40} L/day",
            },
        }
        for i in range(40)
    ]  # fmt: skip
    return JsonResponse({"type": "FeatureCollection", "features": features})


def groups(request):
    """What a large fleet answers from afar: groups with their counts."""
    features = [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [35 + i, 2 + i % 3]},
         "properties": {"count": 10 ** i, "tone": tone}}
        for i, tone in enumerate(["good", "watch", "bad", "unsure", "idle"])
    ]  # fmt: skip
    return JsonResponse({"type": "FeatureCollection", "features": features})


def map_by_view(request):
    return render(request, "gallery_map.html")


urlpatterns = [
    path("gallery/map/", map_by_view, name="gallery_map"),
    path("gallery/map/places/", groups, name="gallery_groups"),
    path("gallery/", gallery, name="gallery"),
    path("gallery/places/", places, name="gallery_places"),
    path("", include("deploy.urls")),
]
