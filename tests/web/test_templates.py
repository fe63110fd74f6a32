"""Every template keeps to the strict policy, escapes what people type, and has its texts in a translatable form."""

import re

import pytest
from django.conf import settings
from django.template import engines

FOLDER = settings.BASE_DIR / "templates"
PAGES = sorted(path.relative_to(FOLDER).as_posix() for path in FOLDER.rglob("*.html"))
FORBIDDEN = [
    (re.compile(r"""\sstyle\s*=\s*["']""", re.I), "an inline style: use a class"),
    (re.compile(r"""<[^>]*\son[a-z]+\s*=""", re.I), "an inline handler: use a module"),
    (re.compile(r"<style\b", re.I), "an inline style sheet"),
    (re.compile(r"<script(?![^>]*\bsrc=)(?![^>]*application/json)", re.I), "an inline script"),
    (re.compile(r"\|\s*safe\b|autoescape off"), "text that is not escaped"),
    (re.compile(r"""(?:src|href)\s*=\s*["'](?:https?:)?//"""), "something fetched from elsewhere"),
    (re.compile(r"""target\s*=\s*["']_blank"""), "a new window without being asked"),
]
# Signs and units that are the same in every language.
SAME_EVERYWHERE = {"Rising", "Main", "min", "kWh", "CSV", "XLSX", "curl", "Authorization", "Token", "KEY"}


def source(page):
    return (FOLDER / page).read_text(encoding="utf-8")


@pytest.mark.parametrize("page", PAGES)
def test_a_template_keeps_to_the_strict_policy(page):
    text = re.sub(r"\{#.*?#\}", "", source(page))
    found = [f"{why}: …{text[m.start():m.start() + 60]!r}" for rule, why in FORBIDDEN for m in rule.finditer(text)]
    assert not found


@pytest.mark.parametrize("page", PAGES)
def test_a_template_can_be_read(page):
    engines["django"].get_template(page)


@pytest.mark.parametrize("page", PAGES)
def test_no_text_of_a_template_is_left_in_english_alone(page):
    text = source(page)
    for unseen in (
        r"\{% comment.*?endcomment %\}", r"\{#.*?#\}", r"\{% blocktrans.*?endblocktrans(?:late)? %\}",
        r"\{% block body_class %\}.*?\{% endblock %\}",
    ):  # fmt: skip
        text = re.sub(unseen, " ", text, flags=re.S)
    text = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", " ", text, flags=re.S)
    spoken = r"""(?:title|alt|placeholder|aria-label|data-label)\s*=\s*["']([^"']*)["']"""
    attributes = " ".join(re.findall(spoken, text))
    text = re.sub(r"<(script|style|pre)\b.*?</\1>|<[^>]*>", " ", text, flags=re.S)
    words = set(re.findall(r"[A-Za-z]{3,}", re.sub(r"&[a-z]+;", " ", text + " " + attributes)))
    assert not words - SAME_EVERYWHERE
