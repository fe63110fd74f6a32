"""Scripts made at set-up instead of being kept in the repository: the bundle that draws charts in the browser."""

from pathlib import Path

CHART_BUNDLE = Path("charts") / "vega.js"


def build(folder):
    """Write the scripts below `folder`; what this version made before is left alone. Returns the paths written.

    The bundle comes out of the vl-convert package, so no network and no other tool is needed. It is written beside and
    renamed: a half-written script is never served.
    """
    import vl_convert

    target = Path(folder) / CHART_BUNDLE
    stamp = target.with_suffix(".version")
    version = vl_convert.__version__
    if target.exists() and stamp.exists() and stamp.read_text() == version:
        return []
    target.parent.mkdir(parents=True, exist_ok=True)
    half = target.with_suffix(".new")
    half.write_text(vl_convert.javascript_bundle(), encoding="utf-8")
    half.replace(target)
    stamp.write_text(version)
    return [target]
