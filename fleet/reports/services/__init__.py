"""The manager's figures: kept by month, read by group, each with one definition."""

from fleet.reports.services.keep import refresh_months, refresh_recent
from fleet.reports.services.read import Scope, availability, by_group, by_month, inspections, restoration, summary

__all__ = [
    "Scope", "availability", "by_group", "by_month", "inspections", "refresh_months", "refresh_recent", "restoration",
    "summary",
]  # fmt: skip
