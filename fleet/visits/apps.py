from django.apps import AppConfig
from django.utils.translation import gettext_lazy as _


class VisitsConfig(AppConfig):
    name = "fleet.visits"
    label = "visits"

    def ready(self):
        from fleet.web import navigation

        navigation.entry(_("Trips"), "visits:trips", deed="log", order=20, icon="route", group="work")
        navigation.entry(_("Visits"), "visits:list", deed="read_fleet", order=30, icon="clipboard-list", group="work")
        navigation.entry(_("Calls"), "visits:calls", deed="take_calls", order=40, icon="phone", group="work")
        navigation.entry(
            _("Procedures"), "visits:procedures", deed="procedures", order=60, icon="list-checks", group="house"
        )
        navigation.entry(
            _("Inspection rules"), "visits:rules", deed="procedures", order=61, icon="calendar-clock", group="house"
        )
