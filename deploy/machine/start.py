"""deploy/start: the whole of Rising Main on this machine, until it is told to stop."""

import argparse
import contextlib
import json
import os
import signal
import socket
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

from deploy import env as settings
from deploy.machine import places, say
from deploy.machine.parts import Part, mark_of, wait_until


def parser():
    made = argparse.ArgumentParser(
        prog="deploy/start",
        description="Brings up Rising Main on this machine: database, broker, web server, worker and timetable. "
        "The first start installs what is needed; Ctrl-C stops everything.",
    )
    made.add_argument("--port", type=_port, default=8000, metavar="N", help="where the pages are (default: 8000)")
    made.add_argument(
        "--data", default=os.environ.get("RISING_MAIN_DATA") or places.DATA, metavar="FOLDER",
        help="what is kept: database, files, secrets, logs (default: .data in the checkout)",
    )  # fmt: skip
    made.add_argument(
        "--listen", default="127.0.0.1", metavar="ADDRESS",
        help="address to listen on (default: 127.0.0.1, this machine only); set ALLOWED_HOSTS too",
    )  # fmt: skip
    made.add_argument("--no-demo", action="store_true", help="leave out the invented fleet on the first start")
    return made


def _port(text):
    if not text.isdigit() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is no port; give a number from 1 to 65535, like 8000.")
    return int(text)


def _check_port(listen, port):
    family = socket.AF_INET6 if ":" in listen else socket.AF_INET
    with socket.socket(family) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((listen, port))
        except PermissionError:
            raise say.Trouble(f"Port {port} is kept for the system; choose one above 1023: --port 8000.") from None
        except OSError as error:
            raise say.Trouble(
                f"Port {port} on {listen} cannot be used ({error.strerror}). Another program may be listening there; "
                f"choose another port: deploy/start --port {port + 1 if port < 65535 else 8000}."
            ) from None


def _already_runs(folder):
    state = folder.state
    what = state.get("what", "Rising Main")
    where = f" at {state['address']}" if state.get("address") else ""
    return say.Trouble(
        f"{what} already runs on {folder.path}{where} (process {state.get('pid', 'unknown')}). Stop that one first, "
        "or choose another folder with --data."
    )


def stop_left_behind(folder):
    """Parts whose supervisor was killed and that the kernel did not tell: end them before new ones start."""
    left = {
        name: about
        for name, about in reversed(folder.state.get("parts", {}).items())
        if about["mark"] and mark_of(about["pid"]) == about["mark"]
    }
    for name, about in left.items():
        say.step(f"Ending a {name} left behind (process {about['pid']})")
        with contextlib.suppress(ProcessLookupError):
            os.kill(about["pid"], about["stop"])
            end = time.monotonic() + 20
            while mark_of(about["pid"]) == about["mark"] and time.monotonic() < end:
                time.sleep(0.1)
            os.killpg(about["pid"], signal.SIGKILL)


def application_parts(folder, env, listen, port):
    """Web server, worker, timetable."""
    python = sys.executable
    cores = os.cpu_count() or 2
    bind = f"[{listen}]:{port}" if ":" in listen else f"{listen}:{port}"
    web = [
        python, "-m", "gunicorn", "deploy.wsgi", "--config", "python:deploy.web", "--bind", bind,
        "--worker-class", "gthread",
        "--workers", str(settings.whole_number("WEB_WORKERS", max(2, min(cores, 4)), 1, 64)), "--threads", "4",
        # A worker that holds so many connections leaves new ones to its neighbours: the load is shared evenly.
        "--worker-connections", "120", "--timeout", "120", "--graceful-timeout", "10", "--no-control-socket",
        "--log-level", "warning",
    ]  # fmt: skip
    if Path("/dev/shm").is_dir():  # noqa: S108
        web += ["--worker-tmp-dir", "/dev/shm"]  # noqa: S108 - heartbeats must not wait for a slow disk
    worker = [
        python, "-m", "celery", "-A", "deploy.celery", "worker", "--loglevel", "WARNING", "--without-gossip",
        "--without-mingle", "--hostname", f"rising-main-{port}@%h",
        "--concurrency", str(settings.whole_number("TASK_WORKERS", max(1, min(cores, 4)), 1, 64)),
    ]  # fmt: skip
    beat = [
        python, "-m", "celery", "-A", "deploy.celery", "beat", "--loglevel", "WARNING", "--pidfile=",
        "--schedule", str(folder.path / "timetable"),
    ]  # fmt: skip
    common = {"env": env, "cwd": places.ROOT}
    return (
        Part("web server", web, folder.log("web"), stop_within_s=20, **common),
        Part("worker", worker, folder.log("worker"), stop_within_s=30, **common),
        Part("timetable", beat, folder.log("timetable"), stop_within_s=10, **common),
    )


def _healthy(address):
    try:
        with urllib.request.urlopen(f"{address}/health/", timeout=10) as answer:  # noqa: S310 - our own address
            return answer.status == 200 and json.load(answer)["database"] == "ok"
    except (OSError, ValueError, urllib.error.URLError):
        return False


def main():
    args = parser().parse_args()
    folder = places.DataFolder(args.data)
    folder.make()
    with say.plain_about_disks(), folder.held() as free:
        if not free:
            raise _already_runs(folder)
        _check_port(args.listen, args.port)
        run(args, folder)


def run(args, folder):
    from deploy.machine import demo, products
    from deploy.machine.services import Servers, Stopped, environment_of, migrate
    from deploy.machine.supervisor import Supervisor

    shown = "127.0.0.1" if args.listen in {"0.0.0.0", "::"} else args.listen  # noqa: S104
    address = f"http://[{shown}]:{args.port}" if ":" in shown else f"http://{shown}:{args.port}"
    stop_left_behind(folder)
    folder.state = {"what": "Rising Main", "pid": os.getpid(), "address": address}
    servers = Servers(folder)
    supervisor = Supervisor([])
    env = {}

    def remember():
        folder.state = {
            "what": "Rising Main",
            "pid": os.getpid(),
            "address": address,
            "parts": {
                p.name: {"pid": p.pid, "mark": mark_of(p.pid), "stop": int(p.stop)} for p in supervisor.parts if p.pid
            },
            "env": {k: env[k] for k in ("DATABASE_URL", "BROKER_URL", "SITE_ADDRESS") if k in env},
        }

    supervisor.on_change = remember
    with supervisor.signals():
        try:
            with products.compiling() as wait_for_loops:
                products.ready()
                servers.start()
                supervisor.parts = list(servers.parts)
                env |= environment_of(folder, servers.database_url, servers.broker_url)
                env.setdefault("SITE_ADDRESS", address)
                remember()
                migrate(env, folder, lambda: supervisor.stopping)
                wait_for_loops(lambda: supervisor.stopping)
            logins = demo.ready(env, folder, not args.no_demo, lambda: supervisor.stopping)
            say.step("Starting web server, worker and timetable")
            parts = application_parts(folder, env, args.listen, args.port)
            for part in parts:
                supervisor.start(part)
            remember()
            wait_until(lambda: supervisor.stopping or _healthy(address), parts[0], 90, "The web server")
            if supervisor.stopping is None:
                say.step(f"Rising Main is ready: {address}")
                for text in logins:
                    say.line(f"  {text}")
                say.line("Ctrl-C stops it.")
                supervisor.watch()
        except Stopped:
            pass
        finally:
            say.step("Stopping")
            # A trouble on the way up ends the parts that already run as well.
            known = {id(p) for p in supervisor.parts}
            supervisor.parts = [p for p in servers.parts if id(p) not in known] + supervisor.parts
            supervisor.stop()
            folder.state = {}
    say.step("Stopped. What was entered is kept in " + str(folder.path))


if __name__ == "__main__":
    sys.path.insert(0, str(places.ROOT))
    main()
