"""The invented fleet of the first start, and the log-ins that belong to it.

It goes only into a database without any organisation, so that it never stands beside real data. The command demo_fleet
does the loading and is safe to repeat after being broken off.
"""

import json
import subprocess

from deploy.machine import places, say
from deploy.machine.services import manage_command, run_to_end

ASK = (
    "import json; from fleet.people.models import Organisation as o; "
    "print(json.dumps({'all': o.objects.count(), 'demo': o.objects.filter(is_demo=True).count()}))"
)


def _ask(env):
    done = subprocess.run(
        manage_command("shell", "--no-imports", "-c", ASK), env=env, cwd=places.ROOT, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if done.returncode:
        raise say.Trouble(f"The database does not tell whether it is empty:\n{done.stderr.strip()[-2000:]}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def ready(env, folder, wanted, stopping):
    """Load it when it is wanted and the database is empty. Returns the lines to show about log-ins."""
    begun = folder.path / "demo-begun"
    found = _ask(env)
    if wanted and (found["all"] == 0 or begun.exists()):
        if not any(places.ROOT.glob("fleet/*/management/commands/demo_fleet.py")):
            return ["(There is no demo fleet in this checkout.)"]
        say.step("Loading the demo fleet: invented people, places and pumps")
        begun.touch()
        if run_to_end(manage_command("demo_fleet"), env, stopping):
            raise say.Trouble("The demo fleet could not be loaded; see above. deploy/start --no-demo leaves it out.")
        begun.unlink()
        found = _ask(env)
    if found["all"] == 0:
        return ["No organisation yet. Make the first one and its administrator: deploy/manage make_organisation --help"]
    return _log_ins(folder) if found["demo"] else []


def _log_ins(folder):
    try:
        people = json.loads((folder.path / "demo-log-ins.json").read_text())
    except (OSError, ValueError):
        return []
    return ["Log in to the demo as:"] + [f"    {p['username']:<10} {p['password']:<24} {p['who']}" for p in people]
