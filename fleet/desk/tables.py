"""The attention list as a table: rows as plain values, one question for the visits planned to all of them."""

from functools import cache
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.desk import silence
from fleet.desk.services import planned_visits, silence_words, state_of
from fleet.desk.templatetags.desk import cause_word
from fleet.output import advice
from fleet.web import lists, quantities
from fleet.web.markup import addresses, joined, markup
from fleet.web.templatetags.web import badge

FACTS = (
    "id", "installation_id", "state", "danger", "lost_l_day", "lost_fraction", "people_served", "since", "probability",
    "causes", "installation__well__site__name", "installation__well__site__code", "installation__unit__serial",
    "installation__unit__pump_type__name",
)  # fmt: skip
CAUSES_NAMED = 2


def of_shortfalls(rows, *, may_send):
    """The table of some shortfalls, dicts of FACTS."""
    ids = [row["installation_id"] for row in rows]
    visits, silent = planned_visits(ids), silence_words(ids)
    page, visit_page = addresses("output:shortfall", 0), addresses("visits:visit", UUID(int=0))
    a_day, cannot_tell, nobody = _("a day"), _quiet(_("cannot tell")), _quiet(_("nobody yet"))
    proposed, fading = _("visit proposed"), badge(_("fading"), "unsure")
    dangers = {1: badge(_("danger possible"), "danger"), 2: badge(_("danger: stop now"), "danger")}
    send = _("Send somebody to %(site)s")
    named, chance = cache(lambda code: str(cause_word(code))), cache(quantities.chance)

    def pick(row):
        if not may_send or row["state"] != "open":
            return ""
        return markup(
            '<label><input type="checkbox" name="shortfall" value="{}"><span class="unseen">{}</span></label>',
            row["id"], send % {"site": row["installation__well__site__name"]},
        )  # fmt: skip

    def site(row):
        return markup(
            '<a href="{}">{}</a><br><span class="quiet"><span class="nowrap">{} · {}</span>'
            ' · <span class="nowrap">{}</span></span>\n{}{}',
            page(row["id"]), row["installation__well__site__name"], row["installation__well__site__code"],
            row["installation__unit__serial"], row["installation__unit__pump_type__name"],
            dangers.get(row["danger"], ""),
            badge(silent[row["installation_id"]], "watch") if row["installation_id"] in silent else "",
        )  # fmt: skip

    def lost(row):
        share = row["lost_fraction"]
        part = markup(' <span class="quiet">({})</span>', quantities.percent(share)) if share else ""
        return markup("{} {}{}", quantities.litres(row["lost_l_day"]), a_day, part)

    def probably(row):
        causes = [
            markup(
                '<div>{} <span class="quiet">{}</span></div>', named(cause["cause"]), chance(cause["odds"])
            )
            for cause in advice.named(row["causes"], CAUSES_NAMED)
        ]  # fmt: skip
        return joined(causes) if causes else cannot_tell

    def who(row):
        visit = visits.get(row["installation_id"])
        if visit is None:
            return nobody
        key, day, goes = visit
        words = markup("{}, {}", goes, quantities.when(day)) if goes else proposed
        return markup('<a href="{}">{}</a>', visit_page(key), words)

    return lists.Table(
        lists.Column(markup('<span class="unseen">{}</span>', _("Choose")) if may_send else "", pick, css="pick",
                     label=False),
        lists.Column(gettext_lazy("Site"), site, head=True),
        lists.Column(gettext_lazy("Lost water"), lost),
        lists.Column(gettext_lazy("People"), lambda row: quantities.number(row["people_served"])),
        lists.Column(gettext_lazy("Since"), lambda row: quantities.when(row["since"])),
        lists.Column(
            gettext_lazy("How sure"), lambda row: fading if row["probability"] < 0.5 else chance(row["probability"]),
            css="nowrap",
        ),
        lists.Column(gettext_lazy("Probably"), probably, css="words"),
        lists.Column(gettext_lazy("Who goes"), who),
    ).of(rows)  # fmt: skip


def of_silent(rows):
    """The table of some silent installations, rows of `services.silent_list`."""
    page = addresses("desk:unit", 0)
    visits = planned_visits([row.pk for row in rows])
    visit_page, proposed = addresses("visits:visit", UUID(int=0)), _("visit proposed")
    nobody, never = _quiet(_("nobody yet")), _("never since it was hung")

    def site(row):
        place = row.well.site
        return markup(
            '<a href="{}">{}</a><br><span class="quiet"><span class="nowrap">{} · {}</span>'
            ' · <span class="nowrap">{}</span></span>',
            page(row.unit_id), place.name, place.code, row.unit.serial, row.unit.pump_type.name,
        )  # fmt: skip

    def last(row):
        day = silence.heard(row).last
        return quantities.when(day) if day else never

    def state(row):
        tone, word = state_of(row)
        return badge(word, tone)

    def caretaker(row):
        place = row.well.site
        phone = markup('<a href="tel:{0}">{0}</a>', place.caretaker_phone) if place.caretaker_phone else ""
        return lists.on_lines([place.caretaker_name, phone]) or quantities.NONE

    def who(row):
        if row.pk not in visits:
            return nobody
        key, day, goes = visits[row.pk]
        words = markup("{}, {}", goes, quantities.when(day)) if goes else proposed
        return markup('<a href="{}">{}</a>', visit_page(key), words)

    return lists.Table(
        lists.Column(gettext_lazy("Site"), site, head=True),
        lists.Column(gettext_lazy("Last reported"), last),
        lists.Column(gettext_lazy("State"), state),
        lists.Column(gettext_lazy("What is measured"), lambda row: row.get_instrument_level_display()),
        lists.Column(gettext_lazy("People"), lambda row: quantities.number(row.well.site.people_served)),
        lists.Column(gettext_lazy("Caretaker"), caretaker),
        lists.Column(gettext_lazy("Who goes"), who),
    ).of(rows)


def _quiet(words):
    return markup('<span class="quiet">{}</span>', words)
