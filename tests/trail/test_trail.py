"""The trail is written by the database: whatever way a change comes, it is kept, with who made it."""

import datetime

import pytest
from django.db import connection, transaction
from django.template import Context, Template
from django.utils import timezone

from fleet.people.models import Organisation, Person
from fleet.trail import reader
from fleet.trail.models import Change
from fleet.trail.watch import acting
from tests.makers.people import a_person, an_organisation

pytestmark = pytest.mark.django_db


def changes(table="people_organisation", kind=None):
    found = Change.objects.filter(table=table).order_by("id")
    return found.filter(kind=kind) if kind else found


def by_save(place):
    place.country = "TZ"
    place.save()


def by_update(place):
    Organisation.objects.filter(pk=place.pk).update(country="TZ")


def by_bulk_update(place):
    place.country = "TZ"
    Organisation.objects.bulk_update([place], ["country"])


def by_plain_sql(place):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE people_organisation SET country = 'TZ' WHERE id = %s", [place.pk])


def by_upsert(place):
    Organisation.objects.bulk_create(
        [Organisation(name=place.name, country="TZ")],
        update_conflicts=True, unique_fields=["name"], update_fields=["country"],
    )  # fmt: skip


WAYS = [by_save, by_update, by_bulk_update, by_plain_sql, by_upsert]


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way.__name__)
def test_each_way_of_changing_a_row_leaves_who_when_from_what_to_what(way, nadia):
    place = an_organisation(country="KE")
    began = timezone.now() - datetime.timedelta(minutes=1)
    with acting(nadia, "a test"):
        way(place)
    change = changes(kind="U").get()
    assert (change.row_id, change.before, change.after) == (str(place.pk), {"country": "KE"}, {"country": "TZ"})
    assert (change.person, change.via) == (nadia, "a test")
    assert began < change.at <= timezone.now()


def by_bulk_create():
    Organisation.objects.bulk_create(Organisation(name=f"Users {i}", country="KE") for i in range(50))


def by_copy():
    columns = "name, country, is_demo, false_alarms_per_100_unit_years, need_l_person_day"
    with connection.cursor() as cursor, cursor.copy(f"COPY people_organisation ({columns}) FROM STDIN") as into:
        for i in range(50):
            into.write_row((f"Users {i}", "KE", False, 8.0, 20.0))


def by_insert_select():
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO people_organisation (name, country, is_demo, false_alarms_per_100_unit_years, "
            "need_l_person_day) SELECT 'Users ' || i, 'KE', false, 8, 20 FROM generate_series(0, 49) i"
        )


@pytest.mark.parametrize("way", [by_bulk_create, by_copy, by_insert_select], ids=lambda way: way.__name__)
def test_rows_added_in_bulk_are_kept_one_by_one_with_who(way, nadia):
    before = changes(kind="I").count()
    with acting(nadia, "intake"):
        way()
    added = list(changes(kind="I"))[before:]
    assert len(added) == 50
    assert {(c.person_id, c.via) for c in added} == {(nadia.pk, "intake")}
    assert added[7].after["name"] == "Users 7" and added[7].before is None


def test_rows_changed_in_one_statement_are_kept_one_by_one_and_untouched_ones_not_at_all(nadia):
    places = [an_organisation(country="KE" if n % 2 else "TZ") for n in range(40)]
    with acting(nadia, "intake"):
        Organisation.objects.filter(pk__in=[p.pk for p in places]).update(country="TZ")
    found = changes(kind="U")
    assert {c.row_id for c in found} == {str(p.pk) for n, p in enumerate(places) if n % 2}
    assert {(str(c.before), str(c.after)) for c in found} == {("{'country': 'KE'}", "{'country': 'TZ'}")}


def test_a_row_given_another_id_is_one_removed_and_one_added():
    place = an_organisation(name="Renumbered", country="KE")
    with connection.cursor() as cursor:
        cursor.execute("UPDATE people_organisation SET id = 987654 WHERE id = %s", [place.pk])
    removed, added = changes(kind="D").get(), changes(kind="I").last()
    assert (removed.row_id, removed.before["name"], removed.after) == (str(place.pk), "Renumbered", None)
    assert (added.row_id, added.after["name"], added.before) == ("987654", "Renumbered", None)


@pytest.mark.parametrize("bulk", [True, False], ids=["queryset", "row"])
def test_a_removed_row_is_kept_whole(bulk, nadia):
    place = an_organisation(name="Short-lived", country="KE")
    key = place.pk
    with acting(nadia):
        Organisation.objects.filter(pk=key).delete() if bulk else place.delete()
    change = changes(kind="D").get()
    assert change.row_id == str(key) and change.before["name"] == "Short-lived" and change.after is None


def test_saving_without_a_change_leaves_nothing(nadia):
    place = an_organisation()
    place.save()
    assert not changes(kind="U").exists()


def test_passwords_and_token_hashes_are_never_written_to_the_trail(nadia):
    nadia.set_password("another-long-one")
    nadia.save()
    nadia.last_login = timezone.now()
    nadia.save()
    kept = [c.before or {} for c in Change.objects.all()] + [c.after or {} for c in Change.objects.all()]
    assert kept and not any({"password", "hash", "last_login"} & part.keys() for part in kept)


def test_outside_a_frame_a_change_belongs_to_the_house_itself(nadia):
    with acting(nadia, "a page"):
        an_organisation()
    an_organisation()
    first, second = list(changes(kind="I"))[-2:]
    assert first.person_id == nadia.pk
    assert (second.person_id, second.via) == (None, "")


def test_an_inner_frame_gives_the_name_back_to_the_outer_one(nadia, idris):
    with acting(nadia, "outer"):
        with acting(idris, "inner"):
            an_organisation()
        an_organisation()
    assert [c.via for c in changes(kind="I")][-2:] == ["inner", "outer"]


def test_a_change_that_is_taken_back_leaves_nothing(nadia):
    place = an_organisation(country="KE")
    with pytest.raises(RuntimeError), acting(nadia), transaction.atomic():
        by_save(place)
        raise RuntimeError
    assert not changes(kind="U").exists()


def test_after_a_failed_statement_the_next_change_still_has_its_name(nadia, idris):
    from django.db import IntegrityError

    place = an_organisation(name="Twice", country="KE")
    with pytest.raises(IntegrityError), transaction.atomic(), acting(nadia, "fails"):
        an_organisation(name="Twice")
    with acting(idris, "works"):
        by_save(place)
    assert changes(kind="U").get().person == idris


def test_a_page_that_changes_something_is_named_in_the_trail(client_of, amara, organisation):
    words = {"name": organisation.name, "country": "TZ", "need_l_person_day": "20"}
    client_of(amara).post("/people/organisation/", words)
    change = changes(kind="U").get()
    assert (change.person, change.via) == (amara, "POST /people/organisation/")


# Reading it ---------------------------------------------------------------------------------------------------------


def at(moment, **where):
    """The trail keeps a transaction's time; a test is one transaction, so the moments are set by hand."""
    Change.objects.filter(**where).update(at=moment)


DAY = [datetime.datetime(2026, 3, d, tzinfo=datetime.UTC) for d in range(1, 10)]


@pytest.fixture
def a_place_with_a_past(nadia):
    """Added on day 1, moved to TZ on day 3, need raised on day 5, removed on day 7."""
    place = an_organisation(name="With a past", country="KE")
    steps = [("I", DAY[1])]
    Organisation.objects.filter(pk=place.pk).update(country="TZ")
    Organisation.objects.filter(pk=place.pk).update(need_l_person_day=25)
    rows = list(Change.objects.of(place).order_by("id"))
    for row, moment in zip(rows, (DAY[1], DAY[3], DAY[5]), strict=True):
        at(moment, pk=row.pk)
    assert steps
    return place


def test_a_row_is_shown_as_it_was_on_a_day(a_place_with_a_past):
    place = a_place_with_a_past
    assert reader.as_of(place, DAY[0]) is None
    on_second, on_fourth, on_sixth = (reader.as_of(place, DAY[d]) for d in (2, 4, 6))
    assert (on_second["country"], on_second["need_l_person_day"]) == ("KE", 20)
    assert (on_fourth["country"], on_fourth["need_l_person_day"]) == ("TZ", 20)
    assert (on_sixth["country"], on_sixth["need_l_person_day"]) == ("TZ", 25)
    assert on_second["name"] == "With a past"


def test_a_removed_row_is_still_shown_as_it_was(a_place_with_a_past):
    place, key = a_place_with_a_past, a_place_with_a_past.pk
    Organisation.objects.filter(pk=key).delete()
    at(DAY[7], kind="D", row_id=str(key))
    assert reader.row_as_of(Organisation, key, DAY[6])["country"] == "TZ"
    assert reader.row_as_of(Organisation, key, DAY[8]) is None
    assert place.name == "With a past"


def test_a_history_reads_in_words(nadia, idris):
    with acting(nadia, "people/1"):
        idris.role = "manager"
        idris.phone = "+255 1"
        idris.is_active = False
        idris.save()
    entry = reader.history(idris)[0]
    assert (entry.who, entry.word, entry.via) == ("Nadia Sefu", "changed", "people/1")
    assert {(line.name, line.was, line.now) for line in entry.lines} == {
        ("role", "technician", "manager"), ("telephone", "–", "+255 1"), ("active", "yes", "no"),
    }  # fmt: skip


def test_a_key_to_another_row_is_shown_by_its_name(nadia, other_organisation):
    with acting(None, "move"):
        Person.objects.filter(pk=nadia.pk).update(organisation=other_organisation)
    line = reader.history(nadia)[0].lines[0]
    assert (line.was, line.now) == ("Mbega Water Trust", "Lower Sands Water Office")


def test_a_long_history_costs_as_many_queries_as_a_short_one(nadia, organisation, django_assert_num_queries):
    def change(times):
        for i in range(times):
            Person.objects.filter(pk=nadia.pk).update(phone=f"+255 {i}", organisation=[organisation, None][i % 2])

    change(3)
    with django_assert_num_queries(2):  # the changes with who made them; names of organisations
        reader.history(nadia)
    change(40)
    with django_assert_num_queries(2):
        reader.history(nadia)


def test_the_part_for_pages_shows_a_history_and_escapes_what_was_typed(nadia):
    with acting(nadia):
        Person.objects.filter(pk=nadia.pk).update(phone="<b>1</b>")
    page = Template("{% load trail %}{% history nadia %}").render(Context({"nadia": nadia}))
    assert "Nadia Sefu" in page and "&lt;b&gt;1&lt;/b&gt;" in page and "<b>" not in page


def test_only_changes_by_ones_own_people_are_found(nadia, otto):
    with acting(otto):
        a_person(otto.organisation)
    with acting(nadia):
        ours = a_person(nadia.organisation)
    found = Change.objects.by_people_of(nadia.organisation_id)
    assert {(c.table, c.row_id) for c in found} == {("people_person", str(ours.pk))}
