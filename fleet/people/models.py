"""Accounts, organisations, roles, and the tokens by which programs speak for a person."""

from django.contrib.auth.models import AbstractUser
from django.db import models
from django.utils.translation import gettext_lazy as _

from fleet.people.querysets import PersonManager, TokenQuerySet


class Organisation(models.Model):
    """Whoever keeps a fleet. Sites, catalogue entries and people belong to one; none sees another's."""

    name = models.CharField(_("name"), max_length=120, unique=True)
    country = models.CharField(_("country"), max_length=2, blank=True, db_comment="ISO 3166-1 alpha-2")
    is_demo = models.BooleanField(default=False, db_comment="invented data, never mixed with a real fleet")
    false_alarms_per_100_unit_years = models.FloatField(
        _("false alarms per hundred units a year"), default=10.0, db_comment="the one setting of the judgement"
    )
    need_l_person_day = models.FloatField(_("need, litres per person a day"), default=20.0)

    class Meta:
        constraints = [
            models.CheckConstraint(
                name="false_alarms_within_reason",
                condition=models.Q(false_alarms_per_100_unit_years__gte=0.5)
                & models.Q(false_alarms_per_100_unit_years__lte=200),
            )
        ]

    def __str__(self):
        return self.name


class Person(AbstractUser):
    """Someone with an account. The role says what they may do; the organisation what they may see."""

    class Role(models.TextChoices):
        COORDINATOR = "coordinator", _("service coordinator")
        TECHNICIAN = "technician", _("technician")
        MANAGER = "manager", _("manager")
        ADMINISTRATOR = "administrator", _("administrator")

    class FlowUnit(models.TextChoices):
        L_MIN = "l_min", _("litres a minute")
        M3_H = "m3_h", _("cubic metres an hour")

    class LengthUnit(models.TextChoices):
        METRES = "m", _("metres")
        FEET = "ft", _("feet")

    class Theme(models.TextChoices):
        DEVICE = "", _("as the device")
        LIGHT = "light", _("light, for bright sun")
        DARK = "dark", _("dark")

    organisation = models.ForeignKey(Organisation, models.PROTECT, related_name="people", null=True, blank=True)
    role = models.CharField(_("role"), max_length=16, choices=Role, default=Role.TECHNICIAN)
    phone = models.CharField(_("telephone"), max_length=20, blank=True)
    language = models.CharField(_("language"), max_length=5, blank=True)
    flow_unit = models.CharField(_("flow shown in"), max_length=5, choices=FlowUnit, default=FlowUnit.L_MIN)
    length_unit = models.CharField(_("lengths shown in"), max_length=2, choices=LengthUnit, default=LengthUnit.METRES)
    theme = models.CharField(_("look"), max_length=5, choices=Theme, default=Theme.DEVICE, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)

    objects = PersonManager()

    class Meta(AbstractUser.Meta):
        constraints = [
            models.CheckConstraint(
                name="person_has_a_known_role",
                condition=models.Q(role__in=["coordinator", "technician", "manager", "administrator"]),
            )
        ]

    def __str__(self):
        return self.get_full_name() or self.username


class Token(models.Model):
    """A revocable key for programs. Only its hash is kept; the key is shown once."""

    person = models.ForeignKey(Person, models.CASCADE, related_name="tokens")
    name = models.CharField(_("what it is for"), max_length=80)
    hash = models.CharField(max_length=64, unique=True, db_comment="SHA-256 of the key, hexadecimal")
    start = models.CharField(max_length=8, db_comment="first characters, to recognise it in a list")
    made_at = models.DateTimeField(auto_now_add=True)
    last_used_at = models.DateTimeField(null=True, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)

    objects = TokenQuerySet.as_manager()

    def __str__(self):
        return f"{self.name} ({self.start}…)"
