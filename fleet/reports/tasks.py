"""Keeps the monthly figures fresh. Run twice, they write the same again."""

from celery import shared_task

from fleet.reports.services import keep


@shared_task(name="reports.refresh_recent")
def refresh_recent():
    keep.refresh_recent()


@shared_task(name="reports.refresh_everything")
def refresh_everything():
    keep.refresh_everything()
