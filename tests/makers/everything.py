"""One row of each kind that a list shows, for tests that go through all lists."""

import uuid
from datetime import UTC, date, datetime, timedelta

import numpy as np
from django.utils import timezone

from fleet.intake.models import Fault, Upload
from fleet.jobs.models import Job
from fleet.output.models import Baseline, Flag
from fleet.people.models import Token
from fleet.readings.models import WeatherPlace
from fleet.readings.services import keep_days, keep_series
from fleet.trail.models import Change
from fleet.visits.models import Base, Finding, InspectionRule, PartType, Procedure
from fleet.visits.models.field import FieldDevice
from tests.makers.judged import a_shortfall, judged_days
from tests.makers.people import a_person
from tests.makers.readings import a_meter_reading, a_slip, a_spot_test
from tests.makers.registry import an_installation
from tests.makers.visits import a_call, an_assigned_visit

DAY = date(2026, 3, 2)


def one_of_each(organisation, person, technician, number, upload=None):
    """A unit in its well with a row in every list, seen by `person`. Returns the upload whose faults are listed."""
    hung = an_installation(organisation)
    at = datetime(2026, 3, 2, 9, tzinfo=UTC)
    a_spot_test(hung, at=at)
    reading = a_meter_reading(hung, at=at, total_l=1_000_000, standing=1)
    a_slip(reading)
    place, day = np.array([hung.pk]), np.array([DAY], dtype="datetime64[D]")
    columns = {"volume_l": np.array([4000.0]), "noon_irradiance_w_m2": np.array([850.0])}
    keep_days(installations=place, days=day, columns=columns)
    keep_series(
        installations=place, days=day, seconds=np.array([43200]), columns={"flow_l_min": np.array([14.0])}
    )
    judged_days(hung, DAY, [(5000, 4000)])
    short = a_shortfall(hung)
    Flag.objects.create(shortfall=short, installation=hung, flagged_on=DAY, causes=short.causes)
    Baseline.objects.create(installation=hung, inputs_hash="0" * 64, computed_at=at, method="1")
    visit = an_assigned_visit(hung, technician, on=timezone.localdate() + timedelta(days=number))
    Finding.objects.create(visit=visit, failure_mode="less_water", cause="dirt", action="cleaned")
    a_call(hung.well.site)
    Procedure.objects.create(organisation=organisation, kind="survey", version=100 + number, steps=[], in_use=False)
    InspectionRule.objects.create(organisation=organisation, name=f"rule {number}", basis="months", amount=6)
    PartType.objects.create(organisation=organisation, name=f"part {number}", code=f"p{number}")
    Base.objects.create(organisation=organisation, name=f"base {number}", latitude_deg=3, longitude_deg=35)
    FieldDevice.objects.create(key=uuid.uuid4(), person=a_person(organisation), name=f"phone {number}",
                               token_hash=f"{number}")  # fmt: skip
    WeatherPlace.objects.create(organisation=organisation, name=f"place {number}", latitude_deg=3, longitude_deg=35,
                                source="power_json")  # fmt: skip
    Job.objects.create(organisation=organisation, asked_by=person, kind="intake.read", title=f"work {number}")
    made = Upload.objects.create(organisation=organisation, by=person, table="units", name="u.csv", size=1, sha256="0")
    upload = upload or made
    Fault.objects.create(upload=upload, line=number, sentence="No.")
    Token.objects.create(person=person, name=f"program {number}", hash=f"{number}", start="rm_")
    Change.objects.create(at=at, table="registry_unit", row_id=str(hung.unit_id), kind="U", person=person,
                          before={"batch": "A"}, after={"batch": "B"})  # fmt: skip
    return upload
