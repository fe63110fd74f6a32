"""The servers a single command needs: those that run on the folder, or ours for as long as the command takes."""

import contextlib
import os

from deploy.machine import places, say


@contextlib.contextmanager
def servers_for(folder, what, create_tables=True):
    """Yields the environment for a command on this folder.

    When Rising Main runs there, its servers are used; else the database is started for the command and stopped after
    it, and work that would go to a worker is done at once.
    """
    from deploy.machine.services import Servers, environment_of, migrate

    named = os.environ.get("DATABASE_URL")
    if named:
        folder.make()
        env = environment_of(folder, named)
        if not os.environ.get("BROKER_URL"):
            env["TASKS_AT_ONCE"] = "yes"
        yield env
        return
    folder.make()
    with folder.held() as free:
        if not free:
            running = folder.state.get("env")
            if not running:
                raise say.Trouble(
                    f"{folder.state.get('what', 'Another script')} is just starting or ending on {folder.path}. "
                    "Try again in a moment."
                )
            yield environment_of(folder, running["DATABASE_URL"]) | running
            return
        from deploy.machine.start import stop_left_behind

        stop_left_behind(folder)
        folder.state = {"what": what, "pid": os.getpid()}
        servers = Servers(folder, with_broker=False)
        try:
            servers.start(quiet=True)
            env = environment_of(folder, servers.database_url, TASKS_AT_ONCE="yes")
            if create_tables:
                migrate(env, folder, quiet=True)
            folder.state |= {"env": {"DATABASE_URL": servers.database_url, "TASKS_AT_ONCE": "yes"}}
            yield env
        finally:
            servers.stop()
            folder.state = {}


@contextlib.contextmanager
def database_of(folder, what, create_tables=True):
    """Yields the address of this folder's database, the server running."""
    with servers_for(places.DataFolder(folder.path), what, create_tables) as env:
        yield env["DATABASE_URL"]
