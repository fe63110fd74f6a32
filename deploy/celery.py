"""Celery: routes and timetable in code, everything else from the settings."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
app = Celery("rising_main")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
# Every process and thread that reads the settings wakes workers through this app, not only the workers themselves.
app.set_default()

# The database says what is due; these sweeps only look. Each may run twice or late without harm.
app.conf.beat_schedule = {
    "jobs left behind are taken up again": {"task": "jobs.sweep", "schedule": 60.0},
    "installations whose day has ended are judged": {"task": "output.sweep", "schedule": 600.0},
    "inspections that fall due become visits": {"task": "visits.sweep", "schedule": 3600.0},
}
