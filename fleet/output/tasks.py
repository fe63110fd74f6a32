"""The night's work in pieces; each may run twice, be killed, or come late."""

from datetime import date

from celery import shared_task

from fleet.output import services
from fleet.people.models import Organisation
from fleet.trail.watch import acting


@shared_task(name="output.sweep", acks_late=True)
def sweep():
    with acting(None, "output.sweep"):
        services.sweep()


@shared_task(name="output.baselines", acks_late=True)
def baselines(installation_ids, year):
    with acting(None, "output.baselines"):
        services.baselines(installation_ids, year=year)


@shared_task(name="output.judge_batch", acks_late=True, bind=True)
def judge_batch(self, installation_ids, day):
    """Up to the local day; where another worker is at it already there is nothing to do.

    A call that the broker gives out again comes from a worker that is gone, and its claim with it.
    """
    given_again = (self.request.delivery_info or {}).get("redelivered")
    if not services.claim(installation_ids) and not given_again:
        return
    try:
        with acting(None, "output.judge_batch"):
            services.judge(installation_ids, date.fromisoformat(day))
    finally:
        services.release(installation_ids)


@shared_task(name="output.fetch_weather", acks_late=True, soft_time_limit=1800)
def fetch_weather():
    """Days of the weather service in the settings; nothing where none is set."""
    with acting(None, "output.fetch_weather"):
        for organisation in Organisation.objects.order_by("id"):
            services.fetch_due(organisation)
