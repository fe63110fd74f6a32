"""What a person's settling changed, row by row, so that a wrong click can be taken back whole.

A decision keeps each row that it touched as it was and as it became. It is taken back only while everything still
stands as it left it; what came after it is undone first, or put right where it stands.
"""

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.people.access import require
from fleet.readings import arrivals
from fleet.readings.models import DayRecord, Decision, MeterReading, Slip, SpotTest, Standing
from fleet.readings.services.clock import local_day
from fleet.registry.models import Installation
from fleet.registry.services import correct
from fleet.web.refusals import Refused

TABLES = {"meter": MeterReading, "spot": SpotTest, "day": DayRecord, "installation": Installation}
MARKS = ("standing", "noon_standing")


class Touched:
    """Changes rows one at a time, and remembers each as it was and as it became."""

    def __init__(self):
        self.rows = []

    def change(self, table, key, values, watched=()):
        """`key`: the row's own, as JSON can hold it; watched: columns that stay, and are to stay so."""
        row = TABLES[table].objects.filter(**key)
        was = row.select_for_update().values(*{*values, *watched}).first()
        if was is None:
            raise Refused("gone", _("The reading is no longer there."))
        row.update(**values)
        self.note(table, key, was, was | values)

    def note(self, table, key, was, became):
        """A row that somebody else's verb changed."""
        self.rows.append({"table": table, "row": key, "was": was, "became": became})


def keep_decision(*, slips, how, by, at, touched, suggestions):
    """The decision on these slips, the first of which was clicked. suggestions: {slip: what was suggested before}."""
    decision = Decision.objects.create(
        installation_id=slips[0].installation_id, how=how, by=by, at=at, touched=touched.rows, suggested=suggestions
    )
    for slip in slips:
        slip.decision = decision
    return decision


@transaction.atomic
def take_back(*, decision, by):
    """Take a settling back: every reading stands as it did, the figures wait again, and the judgement goes back.

    Taken back twice changes nothing. Refuses where a row it touched has been changed, removed or judged anew since.
    Returns the decision.
    """
    require(by, "settle")
    decision, slips = _held(decision, by)
    if decision.taken_back_at is not None:
        return decision
    if not slips or len(slips) < len(decision.suggested):
        raise Refused("changed_since", _("What was settled then has been removed or judged anew since; there is "
                                         "nothing left to take back."))  # fmt: skip
    days = _days(slips)
    for touched in reversed(decision.touched):  # two figures of one row were changed one after the other
        _put_back(touched, decision, by)
    for slip in slips:
        slip.state, slip.settled_by, slip.settled_at = Slip.State.OPEN, None, None
        slip.suggested = decision.suggested[str(slip.pk)]
        slip.save(update_fields=["state", "settled_by", "settled_at", "suggested"])
    decision.taken_back_by, decision.taken_back_at = by, timezone.now()
    decision.save(update_fields=["taken_back_by", "taken_back_at"])
    for pk, day in sorted(days | _days(slips)):
        arrivals.note_day(pk, day)
    return decision


def _held(decision, by):
    """The decision and its slips as they stand, locked in the order in which settling locks them."""
    found = Decision.objects.visible_to(by).filter(pk=decision.pk).first()
    if found is None:
        raise Refused("not_found", _("There is no such decision to take back."))
    if any(touched["table"] == "installation" for touched in found.touched):
        Installation.objects.select_for_update().get(pk=found.installation_id)
    slips = list(
        Slip.objects.select_for_update(of=("self",)).filter(decision=found).exclude(state=Slip.State.OPEN)
        .select_related("installation__well__site", "other__well__site", "meter_reading", "spot_test").order_by("pk")
    )  # fmt: skip
    return Decision.objects.select_for_update().get(pk=found.pk), slips


def _days(slips):
    """{(installation, local day)} from which on the judgement must look again; a reading's present unit too."""
    concerned = {(slip.installation_id, local_day(slip.installation, slip.at)) for slip in slips}
    concerned |= {(slip.other_id, local_day(slip.other, slip.at)) for slip in slips if slip.other_id}
    for slip in slips:
        reading = slip.meter_reading or slip.spot_test
        if reading is not None and reading.installation_id not in (slip.installation_id, slip.other_id):
            concerned.add((reading.installation_id, local_day(reading.installation, slip.at)))
    return concerned


def _put_back(touched, decision, by):
    rows = TABLES[touched["table"]].objects.filter(**touched["row"])
    if touched["table"] == "installation":
        return _forget_round(rows.get(), touched, decision, by)
    stands = rows.select_for_update().values(*touched["became"]).first()
    if stands is None:
        raise Refused("gone", _("The reading has been removed since; there is nothing left to take back."))
    for name, became in touched["became"].items():
        if stands[name] != became and not (name in MARKS and _by_its_other_figures(stands[name], became)):
            if name in MARKS and stands[name] == Standing.SET_ASIDE:
                raise Refused("changed_since", _("The reading has been set aside since. Take that back first."))
            raise Refused("changed_since", _("The reading has been changed since this was settled, so it stays as it "
                                             "is. Put the figure right where it was entered."))  # fmt: skip
    try:
        with transaction.atomic():
            rows.update(**touched["was"])
    except IntegrityError:
        raise Refused("already_there", _("The unit under whose serial it was written has got another figure for this "
                                         "moment since. Settle that one first.")) from None  # fmt: skip


def _by_its_other_figures(stands, became):
    """A test or a noon with several figures in doubt waits, or counts, by the last of them: that is no change."""
    between = (Standing.IN_DOUBT, Standing.CORRECTED)
    return stands in between and became in between


def _forget_round(installation, touched, decision, by):
    """The meter's full round as it was kept before, unless totals rest on it that this decision did not settle."""
    if installation.meter_rollover_l != touched["became"]["meter_rollover_l"]:
        raise Refused("changed_since", _("The round of this meter has been corrected at the installation since. Put it "
                                         "right there."))  # fmt: skip
    settled = [one["row"]["pk"] for one in decision.touched if one["table"] == "meter"]
    resting = MeterReading.objects.of(installation).filter(rolled_over=True).exclude(pk__in=settled).order_by("at")
    if (first := resting.first()) is not None:
        sentence = _("The total of %(day)s rests on this meter's round by now, so it is not taken back. Correct the "
                     "round at the installation if it is wrong.")  # fmt: skip
        raise Refused("changed_since", sentence % {"day": date_format(local_day(installation, first.at), "j M Y")})
    correct(installation=installation, by=by, **touched["was"])
