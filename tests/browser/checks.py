"""What every page is asked in the browser."""

import os
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe

# WCAG 2.2 AA; best practices are advice and left to the eye.
RULES = {
    "runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]},
    "resultTypes": ["violations"],
}
TOO_SMALL = """(least) => [...document.querySelectorAll(
  'a.button, button, summary, input:not([type=hidden]), select, textarea, .menu-list a, .bottom a, .chips a')]
  .filter(e => e.offsetParent !== null && !e.closest('.unseen'))
  .map(e => {
    const own = e.getBoundingClientRect();
    const label = e.matches('[type=checkbox],[type=radio]') && e.closest('label');
    const box = label ? label.getBoundingClientRect() : own;
    return {what: e.outerHTML.slice(0, 80), height: Math.round(box.height), width: Math.round(box.width)};
  })
  .filter(f => f.height > 0 && f.height < least)"""


class Console:
    """Remembers errors and warnings of a page's console."""

    def __init__(self, page):
        self.lines = []
        page.on("console", lambda line: self.lines.append(line.text) if line.type in {"error", "warning"} else None)
        page.on("pageerror", lambda error: self.lines.append(str(error)))

    def must_be_clean(self):
        assert not self.lines, "the console says:\n" + "\n".join(self.lines)


def console_clean(page):
    """Start watching now; call the answer's `must_be_clean()` at the end. For pages not made by `page_of`."""
    return Console(page)


def opens(page, address):
    """Go there; the page itself must be what was asked for: an error page is accessible, too."""
    answer = page.goto(address)
    assert answer.status < 400, f"{address} answers {answer.status}"
    return page


def no_accessibility_faults(page):
    """WCAG 2.2 AA by axe, and no sideways scrolling of the whole page."""
    found = Axe().run(page, options=RULES).response["violations"]
    faults = []
    for fault in found:
        nodes = [node["html"][:200] for node in fault["nodes"] if not _half_under_a_bar(node)]
        if nodes:
            faults.append(f"{fault['id']}: {fault['help']}\n    " + "\n    ".join(nodes[:4]))
    assert not faults, f"{page.url}\n" + "\n".join(faults)
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{page.url} scrolls sideways"


def _half_under_a_bar(node):
    """A target that the bar at the top or bottom half covers as the page happens to be scrolled: a finger scrolls on.

    The sizes themselves are measured by `targets_are_large`.
    """
    return any(
        isinstance(check.get("data"), dict) and check["data"].get("messageKey") == "partiallyObscured"
        for check in node["any"]
    )


def targets_are_large(page, least=44):
    """Things to press are at least 44 px high (links inside text are read, not aimed at with gloves)."""
    found = page.evaluate(TOO_SMALL, least)
    assert not found, f"{page.url}\n" + "\n".join(f"{f['height']} px: {f['what']}" for f in found)


def shot(page, name, whole=True):
    """A screenshot for the eye, kept under .build/screenshots; the README's pictures come from there."""
    folder = Path(os.environ.get("SCREENSHOTS", ".build/screenshots"))
    folder.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=folder / f"{name}.png", full_page=whole)
