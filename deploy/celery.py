"""Celery: routes and timetable in code, everything else from the settings."""

import ctypes
import os
import signal
import sys

from celery import Celery
from celery.schedules import crontab
from celery.signals import worker_process_init

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
app = Celery("rising_main")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
# Every process and thread that reads the settings wakes workers through this app, not only the workers themselves.
app.set_default()

# The database says what is due; these sweeps only look. Each may run twice or late without harm.
app.conf.beat_schedule = {
    "the manager's figures of the last months": {"task": "reports.refresh_recent", "schedule": 3600.0},
    "all figures, for records that came late": {
        "task": "reports.refresh_everything", "schedule": crontab(hour=2, minute=40),
    },
    "jobs left behind are taken up again": {"task": "jobs.sweep", "schedule": 60.0},
    "weather of the last days is asked for, where a service is set": {
        "task": "output.fetch_weather", "schedule": crontab(hour=1, minute=10),
    },
    "installations whose day has ended are judged": {"task": "output.sweep", "schedule": 600.0},
    "what came from telephones is put into its visits": {"task": "visits.sweep_pieces", "schedule": 120.0},
    "expected cards that telephones will be packed with": {"task": "visits.warm_cards", "schedule": 1800.0},
    "inspections that fall due become visits": {"task": "visits.sweep", "schedule": 3600.0},
}


@worker_process_init.connect
def give_way(**_):
    """Pages and telephones come first: work in the background takes what the processors have left."""
    os.nice(10)


@worker_process_init.connect
def end_with_the_worker(**_):
    """A process of the pool must not outlive a worker that was killed: its tasks would run beside their successors."""
    if sys.platform.startswith("linux"):
        pr_set_pdeathsig = 1
        ctypes.CDLL(None).prctl(pr_set_pdeathsig, int(signal.SIGKILL), 0, 0, 0)
