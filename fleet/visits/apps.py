from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class VisitsConfig(AppConfig):
    name = "fleet.visits"
    label = "visits"

    def ready(self):
        from fleet.visits import tasks  # noqa: F401  known by name wherever pieces come in, not only in workers
        from fleet.web import navigation

        navigation.entry(_("Trips"), "visits:trips", deed="log", order=20, icon="route", group="work")
        navigation.entry(
            _("At the well"), "root_visits:shell", deed="own_day", order=15, icon="smartphone", group="work"
        )
        navigation.entry(_("Not yet home"), "visits:not_home", deed="assign", order=35, icon="house", group="work")
        navigation.entry(_("Visits"), "visits:list", deed="read_fleet", order=30, icon="clipboard-list", group="work")
        navigation.entry(_("Calls"), "visits:calls", deed="take_calls", order=40, icon="phone", group="work")
        navigation.entry(
            _("Procedures"), "visits:procedures", deed="procedures", order=60, icon="list-checks", group="house"
        )
        navigation.entry(
            _("Inspection rules"), "visits:rules", deed="procedures", order=61, icon="calendar-clock", group="house"
        )
