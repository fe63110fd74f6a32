"""A site is found by its own words, its caretaker, its district, and every serial that ever hung there."""

from datetime import timedelta

import pytest
from django.db import connection

from fleet.registry.models import District, Installation, Site, Unit
from tests.makers.registry import START, a_site, a_unit, a_well, an_installation

pytestmark = pytest.mark.django_db


def words(site):
    return Site.objects.get(pk=site.pk).search


def test_own_words_district_and_caretaker(organisation):
    site = a_site(organisation, code="NK-014", village="Nakwara", caretaker_name="Ekal Lomeri")
    assert all(word in words(site) for word in ("nk-014", "nakwara", "ekal lomeri", site.district.name.lower()))
    site.village = "Lokori"
    site.save()
    District.objects.filter(pk=site.district_id).update(name="Upper Kerio")
    assert "lokori" in words(site) and "upper kerio" in words(site) and "nakwara" not in words(site)


def test_serials_past_and_present(organisation):
    old, new = a_unit(organisation, serial="RM900"), a_unit(organisation, serial="RM901")
    well = a_well(organisation=organisation)
    an_installation(organisation, unit=old, well=well, end=START + timedelta(days=3))
    an_installation(organisation, unit=new, well=well, start=START + timedelta(days=3))
    assert "rm900" in words(well.site) and "rm901" in words(well.site)
    Unit.objects.filter(pk=new.pk).update(serial="RM777")
    assert "rm777" in words(well.site) and "rm901" not in words(well.site)


def test_a_corrected_well_moves_the_serial(organisation):
    hanging, other = an_installation(organisation), a_well(organisation=organisation)
    Installation.objects.filter(pk=hanging.pk).update(well=other)
    assert hanging.unit.serial.lower() in words(other.site)
    assert hanging.unit.serial.lower() not in words(hanging.well.site)


def test_the_trail_does_not_speak_of_search_words(organisation):
    from fleet.trail.models import Change

    an_installation(organisation)
    assert not Change.objects.filter(table="registry_site", kind="U").exists()


def test_words_that_are_right_already_are_not_written_again(organisation):
    """A table with sites and units in one row names the serials at once: the second writing would cost the most."""
    unit = a_unit(organisation, serial="RM902")
    site = a_site(organisation, search="RM902")
    well = a_well(site)
    before = _version(site)
    an_installation(organisation, unit=unit, well=well)
    assert words(site).endswith(f"{site.district.name.lower()} rm902")
    assert _version(site) == before
    an_installation(organisation, unit=a_unit(organisation, serial="RM903"), well=a_well(site, name="2"))
    assert words(site).endswith("rm902 rm903")
    assert _version(site) != before


def _version(site):
    with connection.cursor() as cursor:
        cursor.execute("SELECT ctid::text FROM registry_site WHERE id = %s", [site.pk])
        return cursor.fetchone()[0]
