"""The texts that people see, gathered from the code and the templates, and what a catalogue of them lacks.

Pure Python: no gettext tools are needed, so that the tests can ask on any machine whether a language is complete.
"""

import ast
import re
from collections import defaultdict
from pathlib import Path

from django.utils.translation.template import templatize

DOMAIN = "django"
CALLS = {  # name -> which arguments are texts: context, singular, plural
    "gettext": (None, 0, None), "gettext_lazy": (None, 0, None), "gettext_noop": (None, 0, None),
    "ngettext": (None, 0, 1), "ngettext_lazy": (None, 0, 1),
    "pgettext": (0, 1, None), "pgettext_lazy": (0, 1, None),
    "npgettext": (0, 1, 2), "npgettext_lazy": (0, 1, 2),
}  # fmt: skip
_CALL = re.compile(r"\b(_|n?p?gettext)\(")
_PLACEHOLDER = re.compile(r"%\([a-z_]+\)[-+ 0-9.]*[a-z]|%%|%[sd]|\{[a-z_]*\}")


def gather(root):
    """{(context, text, plural): sorted places}, from fleet/, sizing/ and templates/ below `root`."""
    root, found = Path(root), defaultdict(set)
    for path in sorted([*root.glob("fleet/**/*.py"), *root.glob("sizing/**/*.py")]):
        if "migrations" in path.parts:
            continue
        for message in in_code(path.read_text(encoding="utf-8")):
            found[message].add(path.relative_to(root).as_posix())
    for path in sorted(root.glob("templates/**/*.html")):
        for message in in_template(path.read_text(encoding="utf-8")):
            found[message].add(path.relative_to(root).as_posix())
    return {message: sorted(places) for message, places in found.items()}


def in_code(source):
    """The messages of a Python file, by its own imports: `from django.utils.translation import gettext as _`."""
    tree = ast.parse(source)
    names = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module == "django.utils.translation":
            names |= {alias.asname or alias.name: CALLS[alias.name] for alias in node.names if alias.name in CALLS}
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call):
            continue
        name = getattr(node.func, "id", getattr(node.func, "attr", None))
        if name in names:
            message = _message(node.args, names[name])
            if message:
                yield message


def _message(arguments, places):
    texts = [a.value if isinstance(a, ast.Constant) and isinstance(a.value, str) else None for a in arguments]
    context, text, plural = (None if p is None or p >= len(texts) else texts[p] for p in places)
    return (context, text, plural) if text else None


def in_template(source):
    """The messages of a template. Django itself turns it into lines of calls; these are read as Python."""
    lines = templatize(source)
    for start in _CALL.finditer(lines):
        call = _whole_call(lines, start.start())
        try:
            node = ast.parse(call, mode="eval").body
        except SyntaxError:
            continue
        name = "gettext" if start[1] == "_" else start[1]
        message = _message(node.args, CALLS[name])
        if message:
            yield message


def _whole_call(text, start):
    """From the name to the bracket that closes it; brackets inside strings do not count."""
    depth, quote, at = 0, "", text.index("(", start)
    for i in range(at, len(text)):
        sign = text[i]
        if quote:
            if sign == quote and text[i - 1] != "\\":
                quote = ""
        elif sign in "'\"":
            quote = sign
        elif sign == "(":
            depth += 1
        elif sign == ")":
            depth -= 1
            if depth == 0:
                return text[start : i + 1]
    return text[start:]


def merge(catalogue, gathered):
    """Bring a polib catalogue up to date: new messages empty, what is gone removed. Returns (new, gone)."""
    import polib

    known = {(e.msgctxt, e.msgid, e.msgid_plural or None): e for e in catalogue if not e.obsolete}
    new = [message for message in gathered if message not in known]
    gone = [message for message in known if message not in gathered]
    for message in new:
        context, text, plural = message
        entry = polib.POEntry(msgctxt=context, msgid=text)
        if plural:
            entry.msgid_plural, entry.msgstr_plural = plural, {0: "", 1: ""}
        catalogue.append(entry)
        known[message] = entry
    for message in gone:
        catalogue.remove(known[message])
    for message, places in gathered.items():
        known[message].occurrences = [(place, "") for place in places]
    catalogue.sort(key=lambda e: (e.occurrences[0][0] if e.occurrences else "", e.msgid))
    return new, gone


def faults(catalogue, gathered):
    """What a reader of that language would stumble over: (message, what is wrong), the missing ones first."""
    known = {(e.msgctxt, e.msgid, e.msgid_plural or None): e for e in catalogue if not e.obsolete}
    found = [(message, "missing") for message in gathered if not _is_translated(known.get(message))]
    for message, entry in known.items():
        if not _is_translated(entry):
            continue
        if entry.fuzzy:
            found.append((message, "marked as uncertain"))
        texts = [entry.msgstr] if not message[2] else [entry.msgstr_plural[k] for k in sorted(entry.msgstr_plural)]
        sources = [message[1]] if not message[2] else [message[1], message[2]]
        wanted = set().union(*(_PLACEHOLDER.findall(s) for s in sources))
        for text in texts:
            kept = set(_PLACEHOLDER.findall(text))
            # A plural's one-form may leave its number out ("one thing"), never invent another.
            if kept - wanted or (not message[2] and wanted - kept):
                found.append((message, f"placeholders differ: {sorted(wanted)} and {sorted(kept)}"))
            if message[1].endswith("\n") != text.endswith("\n"):
                found.append((message, "line ends differ"))
    return found


def _is_translated(entry):
    if entry is None:
        return False
    return all(entry.msgstr_plural.values()) if entry.msgid_plural else bool(entry.msgstr)
