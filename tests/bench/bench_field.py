"""Two hundred telephones that send a visit each at once, to a web server of two processes.

    python -m tests.bench.bench_field [telephones]

Makes a database of its own (named in DATABASE_URL with `_bench` behind) and removes it. The worker's part is done by
the sweep afterwards and timed apart. Name a broker nobody listens to in BROKER_URL. Prints the times of requests,
how long until every visit was put together, and whether anything was lost or doubled.
"""

import itertools
import json
import os
import statistics
import subprocess
import sys
import threading
import time
import urllib.request
import uuid
from datetime import timedelta

from tests.bench.surroundings import bench_database

PORT = 8791
PART = 16_384


def main(telephones=200):
    with bench_database():
        from django.db import connection
        from django.utils import timezone

        from fleet.visits import services, tasks
        from fleet.visits.models import FieldPiece, Photo, StepRecord, Visit
        from tests.makers.people import a_person, an_organisation
        from tests.makers.registry import a_cable, a_module_type, a_pipe, a_pump_type, a_unit, an_installation
        from tests.makers.visits import an_assigned_visit, values_for
        from tests.visits.test_field_intake import an_image

        organisation = an_organisation()
        services.set_up(organisation)
        shared = {
            "module_type": a_module_type(organisation), "pipe": a_pipe(organisation), "cable": a_cable(organisation),
        }  # fmt: skip
        pump = a_pump_type(organisation)
        picture = an_image(size=(320, 240))
        logs = []
        for n in range(telephones):
            person = a_person(organisation, "technician", username=f"phone{n}")
            installation = an_installation(organisation, unit=a_unit(organisation, pump_type=pump), **shared)
            visit = an_assigned_visit(installation, person)
            device, token = services.register(person=person, key=uuid.uuid4())
            at = timezone.now() - timedelta(hours=2)

            minutes = itertools.count()

            def piece(kind, payload, visit=visit, at=at, minutes=minutes):
                at = at + timedelta(minutes=next(minutes))
                return {"key": str(uuid.uuid4()), "visit": str(visit.key), "version": 1, "kind": kind, "format": 1,
                        "at": at.isoformat(), "payload": payload}  # fmt: skip

            steps = [
                piece(
                    "step",
                    {"step": s["code"], "values": values_for(s, installation), "cautions_seen": s["cautions"]},
                )
                for s in visit.procedure.steps
            ]  # fmt: skip
            photo = piece("photo", {"size": len(picture), "step": "arrive"})
            leave = piece("leave", {"km": 10, "not_done": "", "caretaker_words": "good"})
            logs.append((str(device.key), token, [piece("start", {}), *steps, leave, photo], photo["key"]))
        connection.close()
        # The database of the bench for the server's processes too.
        from django.conf import settings

        base, name = os.environ["DATABASE_URL"].rsplit("/", 1)
        env = os.environ | {"DATABASE_URL": f"{base}/{settings.DATABASES['default']['NAME']}", "LOG_LEVEL": "ERROR"}
        server = subprocess.Popen(
            [sys.executable, "-W", "ignore", "-m", "gunicorn", "deploy.wsgi:application", "-b", f"127.0.0.1:{PORT}",
             "-w", "2", "--threads", "8", "--log-level", "error", "--backlog", "512"], env=env,
        )  # fmt: skip
        try:
            _wait()
            times, faults, gate = [], [], threading.Barrier(telephones)
            threads = [
                threading.Thread(target=_telephone, args=(*log, picture, times, faults, gate)) for log in logs
            ]
            began = time.perf_counter()
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            sent = time.perf_counter() - began
            done = tasks.sweep_pieces()  # what no worker has taken up yet
            whole = time.perf_counter() - began
        finally:
            server.terminate()
            server.wait(20)
        times.sort()
        p95 = times[int(0.95 * len(times))]
        print(f"{len(times)} requests in {sent:.1f} s; median {statistics.median(times):.2f} s, 95 % under {p95:.2f} s")
        print(f"put together after {whole:.1f} s ({done} pieces by the sweep); failed requests: {len(faults)}")
        pieces = sum(len(log[2]) for log in logs)
        steps = sum(len(log[2]) - 3 for log in logs)
        found = FieldPiece.objects.count(), FieldPiece.objects.filter(state="kept").count()
        print(f"pieces sent {pieces}, here {found[0]}, kept {found[1]}; steps {StepRecord.objects.count()} of {steps}; "
              f"photos {Photo.objects.count()} of {telephones}; visits logged "
              f"{Visit.objects.filter(state='logged').count()} of {telephones}")  # fmt: skip


def _wait():
    for _ in range(120):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{PORT}/health/", timeout=2)  # noqa: S310 - our own server
            return
        except OSError:
            time.sleep(0.5)
    raise SystemExit("The server did not come up.")


def _telephone(device, token, pieces, photo, picture, times, faults, gate):
    """Sends as the telephone's own code does: twenty pieces at once, then the photo part by part."""
    gate.wait()

    def ask(path, body, method, kind):
        for _ in range(20):
            asked = urllib.request.Request(  # noqa: S310 - our own server
                f"http://127.0.0.1:{PORT}/api/v1/field/{path}", data=body, method=method,
                headers={"Authorization": f"Telephone {token}", "Content-Type": kind},
            )  # fmt: skip
            began = time.perf_counter()
            try:
                with urllib.request.urlopen(asked, timeout=60) as answer:  # noqa: S310
                    answer.read()
                times.append(time.perf_counter() - began)
                return
            except OSError as fault:
                times.append(time.perf_counter() - began)
                faults.append(str(fault))
                time.sleep(1)

    for start in range(0, len(pieces), 20):
        body = {"device": device, "later": True, "pieces": pieces[start : start + 20], "waiting": 0}
        ask("pieces/", json.dumps(body).encode(), "POST", "application/json")
    for place in range(0, len(picture), PART):
        part = picture[place : place + PART]
        where = f"photos/{photo}/?device={device}&place={place}&total={len(picture)}&later=1"
        ask(where, part, "PUT", "application/octet-stream")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
