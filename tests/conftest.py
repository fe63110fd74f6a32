"""The cast, and how a test comes to a browserless client.

Nadia coordinates, Idris is a technician, Wanja is the manager, Amara administers: all of the Mbega Water Trust. Otto
coordinates for another organisation and may see nothing of theirs.
"""

import shutil
from pathlib import Path

import polib
import pytest
from django.conf import settings
from django.test import Client
from django.utils import timezone, translation
from rest_framework.test import APIClient

from tests.makers.people import a_person, an_organisation


def pytest_configure(config):
    """What would only cost time here: slow password hashing, files with hashed names."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    settings.STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
    data = Path(settings.DATA_DIR)
    settings.STATIC_ROOT = data / "static"
    for folder in (settings.STATIC_ROOT, Path(settings.MEDIA_ROOT)):
        folder.mkdir(parents=True, exist_ok=True)
    _empty_tables_made_by_hand_too()
    _drop_with_force()


def _drop_with_force():
    """A worker's or server's thread may still hold a connection when the last test has ended."""
    from django.db.backends.postgresql.creation import DatabaseCreation

    def drop(self, test_database_name, verbosity):
        with self._nodb_cursor() as cursor:
            cursor.execute(f"DROP DATABASE {self.connection.ops.quote_name(test_database_name)} WITH (FORCE)")

    DatabaseCreation._destroy_test_db = drop


def _empty_tables_made_by_hand_too():
    """Django empties only the tables it manages; the partitioned ones refer to them, so it must go through all.

    Truncating makes and syncs new files for every table and index, seconds after each browser test. Where the tests'
    user may switch off triggers, the few rows are deleted instead.
    """
    from django.core.management.commands import flush
    from django.core.management.sql import sql_flush

    def emptying(style, connection, *args, **options):
        with connection.cursor() as cursor:
            cursor.execute("SELECT current_setting('is_superuser')")
            if cursor.fetchone()[0] != "on":
                return sql_flush(style, connection, *args, **options | {"allow_cascade": True})
            kept = ["django_migrations", "django_content_type", "auth_permission"]
            cursor.execute(
                "SELECT oid::regclass::text FROM pg_class WHERE relkind IN ('r', 'p') AND NOT relispartition "
                "AND relnamespace = 'public'::regnamespace AND relname <> ALL(%s)",
                [kept],
            )
            tables = [row[0] for row in cursor.fetchall()]
        return [
            "SET LOCAL session_replication_role = replica",
            *(f"DELETE FROM {table}" for table in tables),  # noqa: S608 - names out of the catalogue
            "SET LOCAL session_replication_role = origin",
        ]

    flush.sql_flush = emptying


def pytest_unconfigure(config):
    data = Path(settings.DATA_DIR)
    if data.name.startswith("rising-main-tests-"):
        shutil.rmtree(data, ignore_errors=True)


@pytest.fixture(autouse=True)
def default_language_and_zone():
    """A page or an answer in a person's language leaves that language with the thread, and with it the next test."""
    translation.deactivate()
    timezone.deactivate()


@pytest.fixture
def organisation(db):
    return an_organisation(name="Mbega Water Trust")


@pytest.fixture
def other_organisation(db):
    return an_organisation(name="Lower Sands Water Office")


@pytest.fixture
def nadia(organisation):
    return a_person(organisation, "coordinator", username="nadia", first_name="Nadia", last_name="Sefu")


@pytest.fixture
def idris(organisation):
    return a_person(organisation, "technician", username="idris", first_name="Idris", last_name="Kombe")


@pytest.fixture
def wanja(organisation):
    return a_person(organisation, "manager", username="wanja", first_name="Wanja", last_name="Ruto")


@pytest.fixture
def amara(organisation):
    return a_person(organisation, "administrator", username="amara", first_name="Amara", last_name="Diallo")


@pytest.fixture
def otto(other_organisation):
    return a_person(other_organisation, "coordinator", username="otto", first_name="Otto", last_name="Brandt")


@pytest.fixture
def client_of(db):
    """`client_of(nadia)` is a browser in which Nadia is signed in."""

    def signed_in(person, **options):
        client = Client(**options)
        client.force_login(person, backend="fleet.people.backends.PersonBackend")
        return client

    return signed_in


@pytest.fixture
def api_of(db):
    """`api_of(nadia)` is a program that speaks JSON for Nadia."""

    def speaking(person):
        client = APIClient()
        client.force_login(person, backend="fleet.people.backends.PersonBackend")
        return client

    return speaking


@pytest.fixture
def in_language(settings, tmp_path):
    """Catalogues compiled for this test; the set-up compiles them for the application."""

    def compiled(language):
        target = tmp_path / language / "LC_MESSAGES" / "django.mo"
        target.parent.mkdir(parents=True)
        source = settings.BASE_DIR / f"fleet/web/locale/{language}/LC_MESSAGES/django.po"
        polib.pofile(str(source)).save_as_mofile(str(target))
        settings.LOCALE_PATHS = [tmp_path]
        translation.trans_real._translations.clear()

    yield compiled
    translation.trans_real._translations.clear()
