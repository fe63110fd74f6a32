"""Calls, procedures, visits and what was found, parts, trips; telephones and what they send."""

from fleet.visits.models.field import FieldCard, FieldDevice, FieldPiece, PhotoChunk
from fleet.visits.models.planning import Base, Call, InspectionRule, Procedure, Trip, Visit
from fleet.visits.models.record import Finding, PartType, PartUse, Photo, StepRecord, VisitSpotTest, photo_path

__all__ = [
    "Base", "Call", "FieldCard", "FieldDevice", "FieldPiece", "Finding", "InspectionRule", "PartType", "PartUse",
    "Photo", "PhotoChunk", "Procedure", "StepRecord", "Trip", "Visit", "VisitSpotTest", "photo_path",
]  # fmt: skip
