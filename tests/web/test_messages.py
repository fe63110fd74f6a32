"""French and Swahili: nothing missing, nothing that would break a page."""

import datetime

import polib
import pytest
from django import forms
from django.conf import settings
from django.utils import timezone, translation

from fleet.web import messages

LANGUAGES = ["fr", "sw"]
# Rooms whose texts are final; a room joins when its pages are.
COMPLETE = ("fleet/web/", "fleet/people/", "fleet/trail/", "fleet/jobs/", "templates/web/", "templates/people/",
            "templates/trail/", "templates/jobs/", "templates/base.html", "templates/4", "templates/5")  # fmt: skip


def catalogue(language):
    return polib.pofile(str(settings.BASE_DIR / f"fleet/web/locale/{language}/LC_MESSAGES/django.po"))


@pytest.fixture(scope="module")
def gathered():
    return messages.gather(settings.BASE_DIR)


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_text_of_the_finished_rooms_is_translated(language, gathered):
    ours = {m: places for m, places in gathered.items() if any(p.startswith(COMPLETE) for p in places)}
    assert len(ours) > 200
    missing = [message[1] for message, why in messages.faults(catalogue(language), ours) if why == "missing"]
    assert not missing


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_translation_loses_a_placeholder_or_is_uncertain(language, gathered):
    assert not [fault for fault in messages.faults(catalogue(language), {}) if fault[1] != "missing"]


@pytest.mark.parametrize(("language", "words"), [("fr", "Comment vous joindre"), ("sw", "Jinsi ya kukufikia")])
def test_a_page_speaks_the_persons_language(in_language, client_of, idris, language, words):
    in_language(language)
    idris.language = language
    idris.save()
    page = client_of(idris).get("/people/me/").content.decode()
    assert words in page and f'<html lang="{language}"' in page


def test_numbers_follow_the_language():
    from fleet.web.quantities import litres, number

    with translation.override("fr"):
        assert number(1234.5, 1).replace("\u202f", " ").replace("\xa0", " ") == "1 234,5"
        assert litres(12345) == "12,3\u00a0m³"
    with translation.override("sw"):
        assert number(1234567.5, 1) == "1,234,567.5"


TEMPLATE = """{% load i18n %}{% translate "One" %}{% translate "Two" context "number" as two %}
{% blocktranslate count n=rows|length %}{{ n }} row{% plural %}{{ n }} rows{% endblocktranslate %}
{{ _("Three (really)") }}{% blocktranslate trimmed %}
  Four
  five{% endblocktranslate %}"""


def test_texts_are_gathered_from_templates():
    assert set(messages.in_template(TEMPLATE)) == {
        (None, "One", None), ("number", "Two", None), (None, "%(n)s row", "%(n)s rows"), (None, "Three (really)", None),
        (None, "Four five", None),
    }  # fmt: skip


CODE = '''
from django.utils.translation import gettext as _, pgettext, ngettext_lazy as many
other = gettext("not imported")
a = _("one " "text") + pgettext("ctx", "two") + many("%(n)d x", "%(n)d xs", "n") + _(variable) + _("")
'''


def test_texts_are_gathered_from_code_by_its_own_imports():
    assert set(messages.in_code(CODE)) == {
        (None, "one text", None), ("ctx", "two", None), (None, "%(n)d x", "%(n)d xs")
    }  # fmt: skip


FAULTY = [
    ("%(n)s rows", "lignes", "placeholders differ"), ("%(n)s rows", "%(m)s lignes", "placeholders differ"),
    ("rows", "", "missing"), ("rows\n", "lignes", "line ends"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "translated", "why"), FAULTY)
def test_a_faulty_translation_is_named(text, translated, why):
    book = polib.POFile()
    book.append(polib.POEntry(msgid=text, msgstr=translated))
    found = messages.faults(book, {(None, text, None): ["x.py"]})
    assert len(found) == 1 and why in found[0][1]


def test_merging_keeps_what_is_translated_adds_what_is_new_and_drops_what_is_gone():
    book = polib.POFile()
    book.append(polib.POEntry(msgid="kept", msgstr="gardé"))
    book.append(polib.POEntry(msgid="gone", msgstr="parti"))
    new, gone = messages.merge(book, {(None, "kept", None): ["a.py"], (None, "%(n)s x", "%(n)s xs"): ["b.html"]})
    assert (new, gone) == ([(None, "%(n)s x", "%(n)s xs")], [(None, "gone", None)])
    assert {e.msgid: e.msgstr for e in book} == {"kept": "gardé", "%(n)s x": ""}


@pytest.mark.parametrize("language", ["en", "fr", "sw"])
def test_date_fields_are_filled_as_browsers_read_them_in_every_language(language):
    class WhenForm(forms.Form):
        day = forms.DateField(widget=forms.DateInput({"type": "date"}))
        at = forms.DateTimeField(widget=forms.DateTimeInput({"type": "datetime-local"}))
        hour = forms.TimeField(widget=forms.TimeInput({"type": "time"}))

    at = datetime.datetime(2026, 11, 3, 14, 5)
    with translation.override(language):
        page = WhenForm(initial={"day": at.date(), "at": at, "hour": at.time()}).as_p()
        sent = WhenForm({"day": "2026-11-03", "at": "2026-11-03T14:05", "hour": "14:05"})
        assert sent.is_valid(), sent.errors
    assert 'value="2026-11-03"' in page and 'value="2026-11-03T14:05"' in page and 'value="14:05"' in page


@pytest.mark.parametrize("turn", ["first", "second"])
def test_what_a_test_leaves_in_another_language_and_zone_does_not_reach_the_next(turn):
    assert (translation.get_language(), timezone.get_current_timezone_name()) == (
        settings.LANGUAGE_CODE, settings.TIME_ZONE,
    )  # fmt: skip
    translation.activate("fr")
    timezone.activate("Africa/Nairobi")
