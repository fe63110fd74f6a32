"""Telling a worker after commit; what is told waits in the database, so nothing is lost where nobody hears it."""

from functools import partial

from django.db import transaction

from fleet.jobs import waking


def wake_after_commit(task, *arguments):
    transaction.on_commit(partial(waking.wake, task, *arguments))
