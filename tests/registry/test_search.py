"""Whoever misspells still finds: by serial, site, village, caretaker, district and the label's code."""

import pytest
from django.urls import reverse

from fleet.registry.models import Installation, Site, Unit
from fleet.registry.querysets import like
from fleet.visits.forms import CallForm
from tests.makers.registry import a_site, a_unit, a_well, an_installation

RIGHT = {
    "name": "Mukondo borehole", "village": "Lisambe Upper", "caretaker_name": "Thérèse Okwemba", "code": "LS-204",
}  # fmt: skip


@pytest.fixture
def fleet(organisation):
    """One site that is meant, among others that are not."""
    meant = a_site(organisation, **RIGHT)
    hung = an_installation(organisation, well=a_well(site=meant), unit=a_unit(organisation, serial="RM-40817"))
    for n, (name, village) in enumerate([("Tafawa school", "Obanje"), ("Market", "Selindi"), ("Kirema dam", "Arunga")]):
        site = a_site(organisation, name=name, village=village, code=f"QX-{n}", caretaker_name=f"Person {n}")
        an_installation(organisation, well=a_well(site=site), unit=a_unit(organisation, serial=f"RM-9{n}332"))
    return hung


@pytest.mark.parametrize("typed", [
    "mukondo", "Mukonddo", "mukndo", "Mokondo", "mukondo borehol",  # the site's name
    "lisambe", "Lizambe", "lisamb uper", "Lsambe",  # the village
    "okwemba", "Okwenba", "therese okwemba", "Thérèse", "therese", "Okvemba",  # the caretaker
    "LS-204", "ls204", "LS 204",  # the code
    "RM-40817", "rm40817", "RM-40871", "40817", "RM-4081",  # the serial, digits swapped or left out
])  # fmt: skip
def test_a_misspelt_word_finds_the_place_and_its_unit_first(typed, fleet, nadia):
    sites = list(Site.objects.visible_to(nadia).matching(typed).order_by("-likeness", "code"))
    assert sites and sites[0].code == "LS-204"
    units = list(Unit.objects.visible_to(nadia).matching(typed))
    assert "RM-40817" in {unit.serial for unit in units}


@pytest.mark.parametrize("typed", ["zzzzzz", "pump of tomorrow", "77777"])
def test_words_that_fit_nothing_find_nothing(typed, fleet, nadia):
    assert not Site.objects.visible_to(nadia).matching(typed).exists()
    assert not Unit.objects.visible_to(nadia).matching(typed).exists()


def test_the_page_shows_what_was_found_and_says_when_nothing_was(fleet, client, nadia):
    client.force_login(nadia)
    page = client.get(reverse("registry:find"), {"q": "Mokondo"}).content.decode()
    assert "Mukondo borehole" in page and "Tafawa" not in page
    assert client.get(reverse("registry:find"), {"q": "zzzzzz"}).status_code == 200


@pytest.mark.parametrize(("typed", "found"), [
    ("Mokondo", 1), ("LS204", 1), ("RM-40817", 1), ("RM-40818", 0), ("market", 1),
])  # fmt: skip
def test_a_list_is_narrowed_by_misspelt_names_but_not_to_the_next_number(typed, found, fleet):
    assert Installation.objects.filter(like(typed, "well__site__")).count() == found


def test_a_form_that_wants_a_site_names_what_may_be_meant(fleet, nadia):
    form = CallForm({"site": "Mokondo borehol"}, organisation=nadia.organisation)
    assert "LS-204" in str(form.errors["site"]) and "Write the code" in str(form.errors["site"])
    form = CallForm({"site": "zzzz"}, organisation=nadia.organisation)
    assert "Look it up under Sites" in str(form.errors["site"])


def test_nobody_finds_what_belongs_to_others(fleet, otto):
    assert not Site.objects.visible_to(otto).matching("mukondo").exists()
    assert not Unit.objects.visible_to(otto).matching("RM-40817").exists()
