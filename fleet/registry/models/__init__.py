"""What stands where: catalogue, places, units, installations."""

from fleet.registry.models.catalogue import Cable, ModuleType, Pipe, PumpPoint, PumpType
from fleet.registry.models.installations import Attachment, Installation, Label
from fleet.registry.models.places import District, MonthlyClimate, Site, StaticLevel, Tank, Well
from fleet.registry.models.units import Unit, UnitPoint

__all__ = [
    "Attachment", "Cable", "District", "Installation", "Label", "ModuleType", "MonthlyClimate", "Pipe", "PumpPoint",
    "PumpType", "Site", "StaticLevel", "Tank", "Unit", "UnitPoint", "Well",
]  # fmt: skip
