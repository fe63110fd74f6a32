"""How a worker is woken: by a call through the broker that is given out, at most a second or so, and never relied on.

The rows say what is due and the sweeps find it; a call only makes it sooner. So nobody waits for a broker that is away
or that took the line and says nothing: the call goes out from a thread of its own, and after one that failed none is
tried for a while.
"""

import logging
import threading
import time

from celery import current_app, signature

log = logging.getLogger(__name__)
PATIENCE_S = 1.5
AWAY_S = 5.0


class _Line:
    """What this process knows of the broker."""

    def __init__(self):
        self.away_until = 0.0
        self.waiting = None  # a call that nobody waits for any more

    def busy(self):
        return time.monotonic() < self.away_until or (self.waiting is not None and self.waiting.is_alive())

    def lost(self):
        self.away_until = time.monotonic() + AWAY_S


_line = _Line()


def wake(name, *arguments):
    """Call the task `name`. Returns whether the call went out; False is no failure, the sweep finds the work."""
    if current_app.conf.task_always_eager:
        signature(name, args=arguments).delay()
        return True
    if _line.busy():
        log.info("The broker is away; %s waits for the next sweep.", name)
        return False
    outcome = []

    def send():
        try:
            signature(name, args=arguments).delay()
        except Exception as error:  # every transport raises its own
            outcome.append(error)
        else:
            outcome.append(None)

    call = threading.Thread(target=send, name="wake", daemon=True)
    call.start()
    call.join(PATIENCE_S)
    if outcome == [None]:
        return True
    _line.lost()
    if not outcome:
        _line.waiting = call
        log.warning("The broker gave no answer within %s s; %s waits for the next sweep.", PATIENCE_S, name)
    else:
        log.warning("The broker could not be reached (%r); %s waits for the next sweep.", outcome[0], name)
    return False
