"""Two hundred telephones that send a visit each at once, to a web server of two processes.

    python -m tests.bench.bench_field [telephones]

Makes a database of its own (named in DATABASE_URL with `_bench` behind) and removes it. A process that sweeps puts the
visits together meanwhile, with the lower priority that workers have. Web server, worker and telephones are held to two
processors, whatever the machine has, and share them with the database; the share of each is printed. Workers are told
through the broker in BROKER_URL: without one the server learns that it is away.
"""

import itertools
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
import uuid
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path

from tests.bench.surroundings import bench_database

PORT = 8791


def main(telephones=200):
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])
    with bench_database(), tempfile.TemporaryDirectory() as folder:
        from django.conf import settings
        from django.db import connection

        file, sent = prepare(telephones, Path(folder))
        connection.close()
        # The database of the bench for the server's processes too.
        base, _name = os.environ["DATABASE_URL"].rsplit("/", 1)
        env = os.environ | {
            "DATABASE_URL": f"{base}/{settings.DATABASES['default']['NAME']}", "LOG_LEVEL": "ERROR",
            "RISING_MAIN_DATA": str(Path(folder) / "data"),
        }  # fmt: skip
        settings.MEDIA_ROOT = Path(folder) / "data" / "files"
        busy = _busy()
        worker = subprocess.Popen(["nice", "-n", "10", sys.executable, "-W", "ignore", "-m", __spec__.name, "sweep"],
                                  env=env)  # fmt: skip
        server = subprocess.Popen(
            [sys.executable, "-W", "ignore", "-m", "gunicorn", "deploy.wsgi", "-c", "python:deploy.web",
             "-b", f"127.0.0.1:{PORT}",
             "-w", "2", "--worker-class", "gthread", "--threads", "4", "--log-level", "error",
             "--worker-connections", "120",
             "--no-control-socket", "--worker-tmp-dir", "/dev/shm"], env=env,  # noqa: S108
        )  # fmt: skip
        try:
            _wait()
            _warm()
            asked = [sys.executable, "-m", "tests.bench.field_load", str(file), str(PORT)]
            told = json.loads(subprocess.run(asked, check=True, capture_output=True, text=True).stdout)  # noqa: S603
        finally:
            for one in (server, worker):
                one.terminate()
                one.wait(30)
        report(told, sent, telephones, _shares(busy, told))


def prepare(telephones, folder):
    """A visit each, logged on a telephone each, in a file for `field_load`. Returns (file, steps sent)."""
    from django.utils import timezone

    from fleet.visits import services
    from tests.makers.field_pieces import an_image
    from tests.makers.people import a_person, an_organisation
    from tests.makers.registry import a_cable, a_module_type, a_pipe, a_pump_type, a_unit, an_installation
    from tests.makers.visits import an_assigned_visit, values_for

    organisation = an_organisation()
    services.set_up(organisation)
    shared = {
        "module_type": a_module_type(organisation), "pipe": a_pipe(organisation), "cable": a_cable(organisation),
    }  # fmt: skip
    pump = a_pump_type(organisation)
    (folder / "picture.jpg").write_bytes(an_image(size=(1000, 750)))
    size = (folder / "picture.jpg").stat().st_size
    logs, steps_sent = [], 0
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
            piece("step", {"step": s["code"], "values": values_for(s, installation), "cautions_seen": s["cautions"]})
            for s in visit.procedure.steps
        ]
        steps_sent += len(steps)
        photo = piece("photo", {"size": size, "step": "arrive"})
        leave = piece("leave", {"km": 10, "not_done": "", "caretaker_words": "good"})
        logs.append({"device": str(device.key), "token": token, "photo": photo["key"],
                     "pieces": [piece("start", {}), *steps, leave, photo]})  # fmt: skip
    file = folder / "logs.json"
    file.write_text(json.dumps({"picture": str(folder / "picture.jpg"), "logs": logs}))
    return file, steps_sent


def sweep():
    """Puts together what has come, again and again, as a worker does that is told of each visit."""
    import django

    django.setup()
    from fleet.visits import tasks

    while True:
        if not tasks.sweep_pieces():
            time.sleep(0.5)


def report(told, steps_sent, telephones, shares):
    from fleet.visits.models import FieldPiece, Photo, StepRecord, Visit

    times, busy = sorted(told["times"]), sorted(told["busy"])
    every = sorted(times + busy)
    home, ended = max(told["home"]) - told["began"], told["ended"] - told["began"]

    def at(rows, share):
        return rows[min(len(rows) - 1, int(share * len(rows)))] if rows else 0.0

    print(f"{len(times)} requests answered: median {at(times, 0.5):.2f} s, 95 % under {at(times, 0.95):.2f} s, "
          f"longest {at(times, 1):.2f} s; {len(times) / home:.0f} a second")  # fmt: skip
    print(f"{len(busy)} times told to come back in a moment (within {at(busy, 1):.2f} s); "
          f"of all {len(every)} requests 95 % under {at(every, 0.95):.2f} s; failed {len(told['faults'])}")  # fmt: skip
    for fault, n in Counter(told["faults"]).most_common(3):
        print(f"  {n} times: {fault}")
    print(f"all sent after {home:.0f} s, all put into their visits and told so after {ended:.0f} s; {shares}")
    pieces = telephones * 3 + steps_sent
    found = FieldPiece.objects.count(), FieldPiece.objects.filter(state="kept").count()
    print(f"pieces sent {pieces}, here {found[0]}, kept {found[1]}; steps {StepRecord.objects.count()} of "
          f"{steps_sent}; photos {Photo.objects.count()} of {telephones}; visits logged "
          f"{Visit.objects.filter(state='logged').count()} of {telephones}; telephones that were told of all: "
          f"{told['states'].count('kept')} of {pieces}")  # fmt: skip


def _busy():
    """Processor seconds of the whole machine so far."""
    with Path("/proc/stat").open() as file:
        numbers = [int(n) for n in file.readline().split()[1:9]]
    return (sum(numbers) - numbers[3] - numbers[4]) / os.sysconf("SC_CLK_TCK")


def _shares(before, told):
    """Who took the processors: the telephones, our servers and workers, the rest (database, others)."""
    all_s, ours = _busy() - before, resource.getrusage(resource.RUSAGE_CHILDREN)
    ours_s = ours.ru_utime + ours.ru_stime - told["own_cpu_s"]
    return (f"processor time: server and worker {ours_s:.0f} s, telephones {told['own_cpu_s']:.0f} s, database and "
            f"everything else on the machine {all_s - ours_s - told['own_cpu_s']:.0f} s")  # fmt: skip


def _wait():
    for _ in range(120):
        try:
            urllib.request.urlopen(f"http://127.0.0.1:{PORT}/health/", timeout=2)  # noqa: S310 - our own server
            return
        except OSError:
            time.sleep(0.5)
    raise SystemExit("The server did not come up.")


def _warm():
    """The server has been up for a while: its threads have imported what they need and hold their connections."""

    def ask(_n):
        address = f"http://127.0.0.1:{PORT}/api/v1/field/who/"
        try:
            urllib.request.urlopen(address, timeout=60)  # noqa: S310 - our own server
        except urllib.error.HTTPError as refused:  # nobody is signed in
            refused.read()
        urllib.request.urlopen(f"http://127.0.0.1:{PORT}/health/", timeout=60)  # noqa: S310

    with ThreadPoolExecutor(16) as pool:
        list(pool.map(ask, range(64)))


if __name__ == "__main__":
    sweep() if sys.argv[1:] == ["sweep"] else main(*(int(a) for a in sys.argv[1:]))
