"""The sweep that finds work left behind."""

from celery import shared_task

from fleet.jobs import services


@shared_task(name="jobs.sweep", acks_late=True)
def sweep():
    services.sweep()
