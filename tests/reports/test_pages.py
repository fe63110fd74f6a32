"""The manager's page, its PDF and workbook, the API, and who may not see them."""

from datetime import date
from io import BytesIO

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from python_calamine import CalamineWorkbook

from fleet.reports import services
from tests.makers.judged import judged_days
from tests.makers.registry import an_installation

MONTHS = "?first=2026-03&last=2026-03"


@pytest.fixture
def figures(organisation):
    installation = an_installation(organisation)
    judged_days(installation, date(2026, 3, 1), [(5000, 4500)] * 20)
    services.refresh_months(first=date(2026, 3, 1), through=date(2026, 3, 31))
    return installation


def test_the_manager_reads_the_months_she_chose(figures, wanja, client_of):
    answer = client_of(wanja).get("/reports/" + MONTHS)
    assert answer.status_code == 200
    assert b"90" in answer.content and b"March 2026" in answer.content


def test_a_technician_is_refused_and_otto_sees_none_of_it(figures, idris, otto, client_of):
    assert client_of(idris).get("/reports/").status_code == 403
    report = client_of(otto).get("/reports/" + MONTHS).context["report"]
    assert report["summary"]["units"] == 0


def test_months_in_the_wrong_order_are_told_and_nothing_breaks(figures, wanja, client_of):
    answer = client_of(wanja).get("/reports/?first=2026-05&last=2026-01")
    assert "before the first" in answer.content.decode()
    assert client_of(wanja).get("/reports/?first=May").status_code == 200


def test_the_pdf_is_a_pdf_and_the_workbook_holds_numbers(figures, wanja, client_of):
    pdf = client_of(wanja).get("/reports/report.pdf" + MONTHS)
    assert pdf.content.startswith(b"%PDF")
    book = CalamineWorkbook.from_filelike(BytesIO(client_of(wanja).get("/reports/figures.xlsx" + MONTHS).content))
    head, row = book.get_sheet_by_index(1).to_python()[:2]
    assert row[head.index("delivered, m³")] == pytest.approx(90.0)
    assert row[head.index("measured over expected")] == pytest.approx(0.9)


def test_an_organisation_without_figures_gets_a_page_that_says_what_to_do(wanja, client_of):
    assert "No figures yet" in client_of(wanja).get("/reports/").content.decode()
    assert client_of(wanja).get("/reports/report.pdf").content.startswith(b"%PDF")


def test_the_api_gives_the_same_figures_and_refuses_by_name(figures, wanja, idris, api_of):
    rows = api_of(wanja).get("/api/v1/figures/months/?first=2026-03-01&last=2026-03-01").json()
    assert rows[0]["delivered_m3"] == pytest.approx(90.0)
    assert api_of(wanja).get("/api/v1/figures/groups/type/?first=2026-03-01&last=2026-03-01").json()[0]["units"] == 1
    assert api_of(wanja).get("/api/v1/figures/groups/colour/").status_code == 404
    wrong = api_of(wanja).get("/api/v1/figures/summary/?first=March")
    assert wrong.status_code == 400 and wrong.json()["errors"][0]["field"] == "first"
    assert api_of(idris).get("/api/v1/figures/summary/").status_code == 403


def test_the_page_asks_as_many_questions_for_thirty_units_as_for_three(organisation, wanja, client_of):
    def units(n):
        for _ in range(n):
            judged_days(an_installation(organisation), date(2026, 3, 1), [(5000, 4500)])
        services.refresh_months(first=date(2026, 3, 1), through=date(2026, 3, 31))

    client = client_of(wanja)
    units(3)
    with CaptureQueriesContext(connection) as few:
        client.get("/reports/" + MONTHS)
    units(27)
    with CaptureQueriesContext(connection) as many:
        client.get("/reports/" + MONTHS)
    assert len(many) == len(few)
