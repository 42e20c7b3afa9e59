"""What is published, as data: one TOML a parasite set, one an agent, and the references they name.

A value carries its own range, unit, conditions, source and how it is known. Nothing here is fitted or drawn:
`burden.model.lifecycle.development` fits laws to the points, and `Value.draw` only spreads a value over its own range.
"""

from burden.evidence.figures import KNOWN, Point, Value
from burden.evidence.library import agent_names, group_of, load_agent, load_parasite, parasite_names
from burden.evidence.parasite_set import KIND_ODDS_PER_C, KIND_SHARE, ParasiteSet
from burden.evidence.records import (
    FRESH_WATER,
    Agent,
    DoseRange,
    Evidence,
    Failure,
    HostGroup,
    KillPoint,
    OtherFinding,
)
from burden.evidence.references import reference, reference_record
from burden.evidence.unsuitable import Unsuitable, unsuitable, unsuitable_names

__all__ = [
    "FRESH_WATER",
    "KIND_ODDS_PER_C",
    "KIND_SHARE",
    "KNOWN",
    "Agent",
    "DoseRange",
    "Evidence",
    "Failure",
    "HostGroup",
    "KillPoint",
    "OtherFinding",
    "ParasiteSet",
    "Point",
    "Unsuitable",
    "Value",
    "agent_names",
    "group_of",
    "load_agent",
    "load_parasite",
    "parasite_names",
    "reference",
    "reference_record",
    "unsuitable",
    "unsuitable_names",
]
