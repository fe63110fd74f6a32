"""A database of its own for a benchmark, made and removed."""

import os
from contextlib import contextmanager


@contextmanager
def bench_database():
    """Django set up on a new database beside the one named in DATABASE_URL; dropped in the end."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    os.environ.setdefault("SECRET_KEY", "only for a benchmark")
    import django

    django.setup()
    from django.db import connection
    from django.test.utils import setup_databases, teardown_databases

    connection.settings_dict["TEST"]["NAME"] = f"{connection.settings_dict['NAME']}_bench"
    made = setup_databases(verbosity=0, interactive=False)
    try:
        yield connection
    finally:
        teardown_databases(made, verbosity=0)
