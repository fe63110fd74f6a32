"""What gunicorn is told besides its command line: how many requests wait before a thread takes one.

The application may answer "come back in a moment" where waiting would be longer than that: see the API of telephones.
"""


def pre_request(worker, request):
    """Hands the length of the queue to the application as HTTP_X_QUEUED; a client's own word for it is dropped."""
    queue = getattr(getattr(worker, "tpool", None), "_work_queue", None)
    request.headers = [pair for pair in request.headers if pair[0].upper() != "X-QUEUED"]
    request.headers.append(("X-QUEUED", str(queue.qsize() if queue is not None else 0)))
