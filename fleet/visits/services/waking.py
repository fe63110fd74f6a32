"""Telling workers after commit. A broker that is away is no reason to fail or wait: sweeps find what is due."""

import logging
import time

from celery import signature
from django.db import transaction

QUIET_S = 30.0  # a broker that was away is not asked again for so long
_quiet_until = 0.0

logger = logging.getLogger(__name__)


def wake(task, *args):
    """Have a worker do a task soon, after this transaction has been committed."""
    transaction.on_commit(lambda: _tell(task, args))


def _tell(task, args):
    global _quiet_until
    if time.monotonic() < _quiet_until:
        return
    try:
        signature(task, args=args).apply_async(retry=False)
    except Exception:  # every transport raises its own
        _quiet_until = time.monotonic() + QUIET_S
        logger.warning("The broker could not be reached; %s waits for the sweep.", task)
