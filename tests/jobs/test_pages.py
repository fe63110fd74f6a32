"""One's own long work, on its pages and by the API."""

import pytest
from django.urls import reverse

from fleet.jobs import services
from fleet.jobs.models import Job

pytestmark = pytest.mark.django_db


def a_job(by, **changes):
    job = services.start(kind="tests.nothing", title="Import of sites", by=by)
    Job.objects.filter(pk=job.pk).update(**changes)
    job.refresh_from_db()
    return job


def test_progress_is_shown_and_the_page_refreshes_itself_without_javascript(nadia, client_of):
    job = a_job(nadia, state="running", step="reading rows", done=30, total=120)
    page = client_of(nadia).get(reverse("jobs:job", args=[job.pk])).content.decode()
    assert "reading rows" in page and 'value="30" max="120"' in page
    assert '<noscript><meta http-equiv="refresh"' in page
    part = client_of(nadia).get(reverse("jobs:job", args=[job.pk]), headers={"X-Part": "progress"}).content.decode()
    assert "<html" not in part and 'data-state="running"' in part


def test_what_failed_says_why(nadia, client_of):
    job = a_job(nadia, state="failed", trouble="The file has gone. Send it again.")
    page = client_of(nadia).get(reverse("jobs:job", args=[job.pk])).content.decode()
    assert "The file has gone. Send it again." in page and "refresh" not in page


def test_others_find_nothing(nadia, otto, idris, client_of, api_of):
    job = a_job(nadia)
    for stranger in (otto, idris):
        assert client_of(stranger).get(reverse("jobs:job", args=[job.pk])).status_code == 404
        assert client_of(stranger).post(reverse("jobs:stop", args=[job.pk])).status_code == 404
        assert api_of(stranger).get(f"/api/v1/jobs/{job.pk}/").status_code == 404
        assert api_of(stranger).get("/api/v1/jobs/").json()["results"] == []
    assert api_of(nadia).get(f"/api/v1/jobs/{job.pk}/").json()["title"] == "Import of sites"
    assert [row["id"] for row in api_of(nadia).get("/api/v1/jobs/").json()["results"]] == [str(job.pk)]


def test_work_is_stopped_from_its_page(nadia, client_of):
    job = a_job(nadia, state="running")
    client_of(nadia).post(reverse("jobs:stop", args=[job.pk]))
    job.refresh_from_db()
    assert (job.state, job.trouble) == ("stopped", "Stopped by Nadia Sefu.")
    answer = client_of(nadia).post(reverse("jobs:stop", args=[job.pk]), follow=True)
    assert "ended already" in answer.content.decode()


def test_the_list_costs_the_same_for_many(nadia, client_of, django_assert_max_num_queries):
    for _n in range(12):
        a_job(nadia)
    browser = client_of(nadia)
    with django_assert_max_num_queries(4):
        assert "Import of sites" in browser.get(reverse("jobs:list")).content.decode()
