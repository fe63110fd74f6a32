"""Questions about places, units and installations, named in the trade's words."""

import re
import unicodedata

from django.apps import apps
from django.contrib.postgres.search import TrigramWordSimilarity
from django.db.models import F, FilteredRelation, Prefetch, Q, QuerySet
from django.db.models.functions import Lower

from fleet.people.access import own


def plain(words):
    """As the words for searching stand in the database: small letters, single spaces, no accents."""
    bare = "".join(c for c in unicodedata.normalize("NFKD", words) if not unicodedata.combining(c))
    return " ".join(bare.lower().split())[:80]


def spellings(words):
    """A code as it may stand written: ls204 is LS-204, too."""
    code = re.fullmatch(r"([a-z]{1,8})[ ./_-]?(\d{1,10})", words)
    return {words} | ({f"{code[1]}{mark}{code[2]}" for mark in ("", "-", " ")} if code else set())


def like(words, at=""):
    """The condition that a site fits `words`; `at` leads to the site, as in `well__site__`. For narrowing lists.

    Names may be misspelt. Where a figure stands in the words they are a code, a serial or a telephone, and the next
    number is another thing.
    """
    words = plain(words)
    found = Q() if any(c.isdigit() for c in words) else Q(**{f"{at}search__trigram_word_similar": words})
    for spelling in spellings(words):
        found |= Q(**{f"{at}search__contains": spelling})
    return found


class SiteQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)

    def matching(self, words):
        """Found by code, name, village, district, caretaker or a serial that hung there, misspelt ones too."""
        words = plain(words)
        if not words:
            return self
        return self.filter(like(words) | Q(search__trigram_word_similar=words)).annotate(
            likeness=TrigramWordSimilarity(words, "search")
        )

    def with_hanging(self):
        """With the installations that hang there now, as `hanging`, at one more query for all of them."""
        return self.prefetch_related(
            Prefetch("wells", to_attr="all_wells"),
            Prefetch(
                "all_wells__installations",
                apps.get_model("registry", "Installation").objects.hanging().select_related("unit__pump_type"),
                to_attr="hanging",
            ),
        )


class UnitQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)

    def matching(self, words):
        """Found by serial, misspelt ones too, or by the site, village or caretaker where it hangs now."""
        words = " ".join(words.lower().split())[:80]
        if not words:
            return self
        sites = apps.get_model("registry", "Site").objects.matching(words).values("pk")
        there = apps.get_model("registry", "Installation").objects.hanging().filter(well__site__in=sites)
        return self.annotate(low=Lower("serial")).filter(
            Q(low__contains=words) | Q(low__trigram_similar=words) | Q(pk__in=there.values("unit"))
        )

    def with_hanging(self):
        """With the installation it hangs in now, as the list `hangs` of one or none."""
        related = apps.get_model("registry", "Installation").objects.hanging()
        return self.select_related("pump_type").prefetch_related(
            Prefetch("installations", related.select_related("well__site__district"), to_attr="hangs")
        )


    def as_listed(self):
        """Plain values for a list: the unit, and where it hangs now; the database sees to it that this is one place."""
        now = FilteredRelation("installations", condition=Q(installations__period__upper_inf=True))
        return self.annotate(now=now).values(
            "id", "serial", "status", "warranty_until", type=F("pump_type__name"), since=F("now__period__startswith"),
            site_code=F("now__well__site__code"), site_name=F("now__well__site__name"),
            zone=F("now__well__site__zone"), district=F("now__well__site__district__name"),
        )  # fmt: skip


class InstallationQuerySet(QuerySet):
    def visible_to(self, person):
        return own(self, person)

    def hanging(self):
        """Hanging in its well now."""
        return self.filter(period__upper_inf=True)

    def hanging_on(self, moment):
        """Hanging at that moment."""
        return self.filter(period__contains=moment)

    def inspection_overdue(self, on):
        """Still hanging, and the day its next inspection falls due has passed."""
        return self.hanging().filter(next_inspection_on__lt=on)

    def with_facts(self):
        """With everything that its page and its lists name."""
        return self.select_related("unit__pump_type", "well__site__district", "module_type", "pipe", "cable")
