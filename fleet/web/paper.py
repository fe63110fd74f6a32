"""Paper: PDF sheets and reports from Typst templates, with the pages' own charts in ink.

    paper.pdf("reports/month.typ", {"title": …}, charts={"delivered": chart})   -> bytes

A template lies beside the pages' templates and begins with `#import "/paper.typ": *`; it finds its data as `data` and a
chart as `#chart("delivered")`. See templates/web/paper.typ for the parts. No system library and no network is needed;
fonts come with the typst package, the machine's own fonts only fill in for scripts that these lack.

Making a chart takes tens of milliseconds and the drawing engine keeps some hundred megabytes: call this from a task.
"""

import json
import shutil
import tempfile
from pathlib import Path, PurePosixPath

from django.conf import settings
from django.utils import translation

from fleet.web.chart_inks import themed


def _spec(chart):
    # The engine reads text; `width` must be a number on paper.
    return json.dumps(themed(chart, paper=True))


def _locale():
    """Names of months and signs of numbers in the active language, where the engine knows it."""
    known = {"fr": "fr-FR"}
    return known.get(translation.get_language() or "en", "en-US")


def svg(chart):
    """The chart as SVG text in paper's inks."""
    import vl_convert

    return vl_convert.vegalite_to_svg(_spec(chart), format_locale=_locale(), time_format_locale=_locale())


def _template(name):
    for folder in settings.TEMPLATES[0]["DIRS"]:
        found = Path(folder) / name
        if found.is_file():
            return found
    raise FileNotFoundError(f"There is no template {name}.")


def pdf(template, data, charts=None, files=None, standard=None):
    """The document as bytes.

    `template`: path below templates/. `data`: whatever JSON can hold. `charts`: name -> chart of fleet.web.charts.
    `files`: path -> bytes, for photos and codes (`image("/files/…")`). `standard`: "ua-1" or "a-2b", if asked for.
    Errors: TypstError names the template's line; FileNotFoundError for an unknown template.
    """
    import typst

    source = _template(template)
    with tempfile.TemporaryDirectory(prefix="paper-") as folder:
        root = Path(folder)
        shutil.copy(_template("web/paper.typ"), root / "paper.typ")
        shutil.copy(source, root / "document.typ")
        for part in source.parent.glob("_*.typ"):  # parts that the template may import
            shutil.copy(part, root / part.name)
        words = {"language": (translation.get_language() or "en")[:2]}
        (root / "data.json").write_text(json.dumps(words | {"data": data}, default=str), encoding="utf-8")
        (root / "charts").mkdir()
        for name, chart in (charts or {}).items():
            if not chart.is_empty:
                (root / "charts" / f"{_plain(name)}.svg").write_text(svg(chart), encoding="utf-8")
        about = {
            name: {"title": str(c.title), "summary": str(c.summary), "empty": c.is_empty,
                   "notes": [[ink, str(word)] for ink, word in c.notes]}
            for name, c in (charts or {}).items()
        }  # fmt: skip
        (root / "charts.json").write_text(json.dumps(about), encoding="utf-8")
        for path, content in (files or {}).items():
            target = root / "files" / PurePosixPath(*[_plain(part) for part in PurePosixPath(path).parts])
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(content)
        options = {"pdf_standards": standard} if standard else {}
        return typst.compile(str(root / "document.typ"), root=str(root), format="pdf", **options)


def _plain(name):
    """A name that stays inside its folder."""
    if name in {"", ".", ".."} or any(sign in name for sign in "/\\\0"):
        raise ValueError(f"Not a plain file name: {name!r}")
    return name
