"""From a survey of a well to the pumps, arrays, pipes and cables that fit, in order, each with its why."""

from sizing.choose.answer import ORDERS, Answer, Choice, choose
from sizing.choose.hanging import Check
from sizing.choose.offers import (
    CableOffer,
    Catalogue,
    ModuleOffer,
    PipeOffer,
    PumpOffer,
    Survey,
    standard_cables,
    standard_pipes,
)
from sizing.choose.reasons import REASONS, sentence

__all__ = [
    "ORDERS",
    "REASONS",
    "Answer",
    "CableOffer",
    "Catalogue",
    "Check",
    "Choice",
    "ModuleOffer",
    "PipeOffer",
    "PumpOffer",
    "Survey",
    "choose",
    "sentence",
    "standard_cables",
    "standard_pipes",
]
