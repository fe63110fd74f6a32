"""Tables made in code: what people typed is escaped, and the markup is that of the widgets' own templates."""

import pytest
from django import forms
from django.forms.renderers import DjangoTemplates
from django.template import Context, Template
from django.test import RequestFactory

from fleet.web import lists
from fleet.web.form_parts import Renderer
from fleet.web.markup import addresses, joined, markup

TYPED = "<b>O'Neill & \"Co\"</b>"
ESCAPED = "&lt;b&gt;O&#x27;Neill &amp; &quot;Co&quot;&lt;/b&gt;"


def test_what_people_typed_is_escaped_wherever_it_stands():
    assert markup("<i>{}</i>", TYPED) == f"<i>{ESCAPED}</i>"
    assert markup("{}", markup("<i>{}</i>", TYPED)) == f"<i>{ESCAPED}</i>"  # once, not twice
    assert joined([TYPED, markup("<br>")]) == f"{ESCAPED}<br>"
    assert lists.on_lines([TYPED, "", "below"]) == f"{ESCAPED}<br>below"
    table = lists.Table(lists.Column(TYPED, lambda row: row), lists.Column("b", lambda row: 1)).of([TYPED])
    assert table.body == f'<tr><td data-label="{ESCAPED}">{ESCAPED}</td><td data-label="b">1</td></tr>\n'


def test_a_table_has_a_head_that_orders_it_and_keeps_what_was_chosen():
    table = lists.Table(
        lists.Column("Name", lambda row: row["name"], head=True, order="name"),
        lists.Column("People", lambda row: row["people"], css="num", order="people"),
    ).of([{"name": "Ada", "people": 3}])
    request = RequestFactory().get("/", {"kind": ["a", "b"], "after": "key", "sort": "name"})
    page = Template("{% load web %}{% listing table %}").render(Context({"table": table, "request": request}))
    assert 'href="?kind=a&amp;kind=b&amp;sort=people"' in page and "after=" not in page
    assert 'href="?kind=a&amp;kind=b&amp;sort=name" aria-current="true"' in page
    assert '<th scope="row">Ada</th><td class="num" data-label="People">3</td>' in page


@pytest.mark.parametrize("value", ["W 12", "é ü", "a?b#c", "50%", "plain"])
def test_an_address_made_for_many_is_that_of_one(value):
    from django.urls import reverse

    assert addresses("registry:site", "CODE")(value) == reverse("registry:site", args=[value])
    assert addresses("registry:unit", 0)(17) == reverse("registry:unit", args=[17])


def test_an_example_that_stands_twice_in_its_address_is_refused():
    with pytest.raises(ValueError, match="give another example"):
        addresses("registry:site", "s")


class Everything(forms.Form):
    words = forms.CharField(initial=TYPED, help_text="no more than fifty", max_length=50)
    number = forms.FloatField(required=False, widget=forms.NumberInput(attrs={"step": "any", "autofocus": True}))
    day = forms.DateField(widget=forms.DateInput(attrs={"type": "date", "disabled": False}))
    secret = forms.CharField(widget=forms.PasswordInput)
    hidden = forms.CharField(widget=forms.HiddenInput, initial=3)
    pick = forms.ChoiceField(choices=[("", "any"), ("a", TYPED), (TYPED, "b"), ("Group", [("c", "c"), ("d", "d")])])
    several = forms.MultipleChoiceField(choices=[("a", "a"), ("b", "b")])
    notes = forms.CharField(widget=forms.Textarea)


@pytest.mark.parametrize("data", [None, {"words": "x", "pick": "d", "several": ["a", "b"], "day": "2026-11-03"}])
def test_quick_fields_are_those_of_the_templates(data):
    quick, usual = Everything(data, renderer=Renderer()), Everything(data, renderer=DjangoTemplates())
    for one, other in zip(quick, usual, strict=True):
        assert one.as_widget().split() == other.as_widget().split(), one.name
