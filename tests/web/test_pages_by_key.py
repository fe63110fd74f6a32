"""Lists are paged by key: each row once, both ways, whatever the order, without counting."""

import datetime
from urllib.parse import parse_qs, urlsplit

import pytest
from django.template import Context, Template
from django.test import RequestFactory

from fleet.people.models import Person
from fleet.web import paging
from tests.makers.people import a_person, an_organisation

ORDERS = [
    ["first_name"],
    ["-first_name", "last_name"],
    ["last_login"],  # empty for some
    ["-last_login", "first_name"],
    ["organisation__name", "-username"],
    ["-username!"],
    ["id"],
    ["-id"],
]


def asking(**words):
    return RequestFactory().get("/people/", words)


def walk(queryset, order, size, start=None, way="next"):
    """All pages from one on, as lists of ids."""
    page = start or paging.page(asking(), queryset, order, size)
    pages = [page]
    while getattr(page, way):
        word = {"next": "after", "previous": "before"}[way]
        page = paging.page(asking(**{word: getattr(page, way)}), queryset, order, size)
        pages.append(page)
        assert len(pages) < 60, "walking in a circle"
    return pages


@pytest.fixture
def crowd(db):
    """Thirty-one people in two organisations; names repeat, and a third never logged in."""
    places = [an_organisation(), an_organisation()]
    start = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)
    for i in range(31):
        seen = None if i % 3 == 0 else start + datetime.timedelta(days=i % 5)
        a_person(places[i % 2], first_name="ABCD"[i % 4], last_name="xyz"[i % 3], last_login=seen)
    return Person.objects.all()


@pytest.mark.parametrize("size", [1, 4, 31, 50])
@pytest.mark.parametrize("order", ORDERS, ids=" ".join)
def test_walking_forward_shows_each_row_once_and_in_order(crowd, order, size):
    pages = walk(crowd, order, size)
    found = [row.pk for page in pages for row in page]
    words = paging.keys(crowd, order)
    assert found == [row.pk for row in crowd.order_by(*[w.order(False) for w in words])]
    assert all(len(page) == size for page in pages[:-1])


@pytest.mark.parametrize("order", ORDERS, ids=" ".join)
def test_walking_back_shows_the_same_pages(crowd, order):
    forward = walk(crowd, order, 4)
    back = walk(crowd, order, 4, start=forward[-1], way="previous")
    assert [[row.pk for row in page] for page in reversed(back)] == [[row.pk for row in page] for page in forward]


def test_a_page_costs_one_query_and_counts_nothing(crowd, django_assert_num_queries):
    second = paging.page(asking(), crowd, ["first_name"], 4).next
    with django_assert_num_queries(1) as asked:
        paging.page(asking(after=second), crowd, ["first_name"], 4)
    assert "count(" not in asked.captured_queries[0]["sql"].lower()
    assert "offset" not in asked.captured_queries[0]["sql"].lower()


def test_a_row_added_meanwhile_moves_nothing(crowd):
    first = paging.page(asking(), crowd, ["first_name", "last_name"], 4)
    expected = [r.pk for r in paging.page(asking(after=first.next), crowd, ["first_name", "last_name"], 4)]
    a_person(first_name="A", last_name="a newcomer")  # belongs on the first page
    Person.objects.filter(pk=first.rows[0].pk).delete()
    second = paging.page(asking(after=first.next), crowd, ["first_name", "last_name"], 4)
    assert [r.pk for r in second] == expected


def test_rows_as_dicts_can_be_paged_as_well(crowd):
    pages = walk(crowd.values("id", "first_name"), ["first_name"], 7)
    assert sorted(row["id"] for page in pages for row in page) == sorted(crowd.values_list("id", flat=True))


@pytest.mark.parametrize(
    "key",
    ["nonsense", "", "////", "bnVsbA", paging.write_key(["only one"]), paging.write_key(["A", "no number"]),
     paging.write_key([{"deep": 1}, 2]), paging.write_key(["a\x00b", 1]), "é", "A" * 5000],
)  # fmt: skip
def test_a_key_that_is_not_ours_shows_the_first_page(crowd, key):
    first = [r.pk for r in paging.page(asking(), crowd, ["first_name"], 4)]
    assert [r.pk for r in paging.page(asking(after=key), crowd, ["first_name"], 4)] == first


def test_an_unknown_order_falls_back_and_a_known_one_is_taken():
    orders = {"name": ["first_name"], "seen": ["-last_login"]}
    assert paging.chosen_order(asking(sort="password"), orders, "name") == ("name", ["first_name"])
    assert paging.chosen_order(asking(sort="seen"), orders, "name") == ("seen", ["-last_login"])


def test_the_pager_keeps_the_filter_and_drops_the_old_key(crowd):
    request = asking(role="technician", after=paging.page(asking(), crowd, ["id"], 4).next)
    page = paging.page(request, crowd, ["id"], 4)
    html = Template("{% load web %}{% pager page %}").render(Context({"page": page, "request": request}))
    links = [part.split('"')[0].replace("&amp;", "&") for part in html.split('href="')[1:]]
    back, on = (parse_qs(urlsplit(link).query) for link in links)
    assert back == {"role": ["technician"], "before": [page.previous]}
    assert on == {"role": ["technician"], "after": [page.next]}


def test_one_page_alone_has_no_pager(crowd):
    page = paging.page(asking(), crowd, ["id"], 50)
    assert page.alone
    assert Template("{% load web %}{% pager page %}").render(Context({"page": page})).strip() == ""


def test_a_column_said_never_to_be_empty_is_ordered_as_a_plain_index_is(crowd):
    plain, careful = (paging.keys(crowd, order)[0] for order in (["-last_login!"], ["-last_login"]))
    assert "NULLS" not in str(crowd.order_by(plain.order(False)).query)
    assert "NULLS LAST" in str(crowd.order_by(careful.order(False)).query)
