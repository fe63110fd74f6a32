"""Monthly figures per installation, kept so that a report over years reads a few thousand rows, not millions."""

from django.db import models

from fleet.registry.models import Installation


class InstallationMonth(models.Model):
    """One installation and one calendar month. Written again whenever its days were judged again."""

    installation = models.ForeignKey(Installation, models.CASCADE, related_name="months")
    month = models.DateField(db_comment="the month's first day, in the site's calendar")
    days_hung = models.PositiveSmallIntegerField(db_comment="days of the month it hung in its well")
    days_reported = models.PositiveSmallIntegerField(db_comment="days with a measured volume")
    days_down = models.PositiveSmallIntegerField(db_comment="reported days with less than a tenth of the expected")
    days_idle = models.PositiveSmallIntegerField(db_comment="reported days stopped by a full tank")
    days_disabled = models.PositiveSmallIntegerField(db_comment="days with no sun to speak of: nothing was expected")
    measured_l = models.FloatField(db_comment="over the reported days")
    expected_l = models.FloatField(db_comment="over the same days, idle days left out of both where the ratio is made")
    measured_working_l = models.FloatField(db_comment="over reported days that were not idle")
    expected_working_l = models.FloatField()
    low_l = models.FloatField()
    high_l = models.FloatField()
    need_l = models.FloatField(null=True, db_comment="over all days hung; empty where the need is not known")
    people = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField(auto_now=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["installation", "month"], name="one_row_an_installation_and_month")
        ]
        indexes = [models.Index(fields=["month"], name="figures_by_month")]

    def __str__(self):
        return f"{self.installation_id} {self.month:%Y-%m}"
