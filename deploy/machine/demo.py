"""The invented fleet of the first start, and the log-ins that belong to it.

It goes only into a database without any organisation, so that it never stands beside real data. The command demo_fleet
does the loading and is safe to repeat after being broken off.
"""

import json
import subprocess

from deploy.machine import places, say
from deploy.machine.services import manage_command, run_to_end

ASK = """
import json
from fleet.desk.demo.build import PASSWORD
from fleet.desk.demo.places import PEOPLE
from fleet.people.models import Organisation, Person
names = [name for name, *_ in PEOPLE]
people = Person.objects.filter(organisation__is_demo=True, username__in=names, is_active=True).order_by("pk")
print(json.dumps({
    "organisations": Organisation.objects.count(),
    "log_ins": [
        [p.username, PASSWORD, f"{p.get_full_name()}, {p.get_role_display()}"]
        for p in people if p.check_password(PASSWORD)
    ],
}))
"""


def _ask(env):
    done = subprocess.run(
        manage_command("shell", "--no-imports", "-c", ASK),
        env=env | {"LANGUAGE": "en"},
        cwd=places.ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        raise say.Trouble(f"The database does not tell whether it is empty:\n{done.stderr.strip()[-2000:]}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def ready(env, folder, wanted, stopping):
    """Load it when it is wanted and the database is empty. Returns the lines to show about log-ins."""
    begun = folder.path / "demo-begun"
    found = _ask(env)
    if wanted and (found["organisations"] == 0 or begun.exists()):
        say.step("Loading the demo fleet: invented people, places and pumps")
        begun.touch()
        if run_to_end(manage_command("demo_fleet"), env, stopping):
            raise say.Trouble("The demo fleet could not be loaded; see above. deploy/start --no-demo leaves it out.")
        begun.unlink()
        found = _ask(env)
    if found["organisations"] == 0:
        return ["No organisation yet. Make the first one and its administrator: deploy/manage make_organisation --help"]
    if not found["log_ins"]:
        return []
    return ["Log in to the demo as:"] + [f"    {name:<8} {word:<16} {who}" for name, word, who in found["log_ins"]]
