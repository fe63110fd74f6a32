"""The files of the telephone's log and their common version: the hash of all of them.

Modules import one another by plain names, so all are served by plain names; the service worker keeps one whole set.
"""

import hashlib
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.contrib.staticfiles import finders
from django.template.loader import get_template

STYLES = ["web/css/look.css", "web/css/parts.css", "web/css/forms.css", "visits/log.css", "visits/field/field.css"]
MODULES = [
    "main", "db", "clock", "words", "dom", "lock", "pack", "card", "tables", "fall", "odds", "next", "beside", "slips",
    "rules", "captures", "scan", "qr",
    "qr_find", "spot", "photo", "steps", "visit", "home", "sun", "outbox", "send", "room", "reserve",
]  # fmt: skip
LATER = {"qr", "qr_find"}  # packed like the rest, but read only when a label is scanned
OTHERS = ["visits/stopwatch.js", "visits/mark.js", "web/img/mark.svg", "web/img/mark-192.png"]
PATHS = [*STYLES, *(f"visits/field/{name}.js" for name in MODULES), *OTHERS]


def addresses():
    """Plain addresses of all files, in the order of PATHS."""
    return [settings.STATIC_URL + path for path in PATHS]


def styles():
    return [settings.STATIC_URL + path for path in STYLES]


def modules():
    """Those that the first screen needs."""
    scripts = (path for path in PATHS if path.endswith(".js"))
    return [settings.STATIC_URL + path for path in scripts if Path(path).stem not in LATER]


def version():
    """Twelve characters that change with any of the files."""
    return _version() if not settings.DEBUG else _version.__wrapped__()


@lru_cache(maxsize=1)
def _version():
    digest = hashlib.sha256()
    for path in PATHS:
        found = finders.find(path)
        digest.update(path.encode())
        if found:
            digest.update(Path(found).read_bytes())
    for name in ("visits/field/shell.html", "visits/field/worker.js"):
        digest.update(Path(get_template(name).origin.name).read_bytes())
    return digest.hexdigest()[:12]
