"""One decision for a case, and everything it rests on; numbers and codes only.

`decide` gives the decision, `assess` the decision with all that a report shows beside it. `action` holds the rule,
`facts` what it follows from, `next_look` when and at how many fish to look, `records` the types.
"""

from __future__ import annotations

from burden.decision.actions import actions_of
from burden.decision.assessment import HORIZON_DAYS, Assessment, assess, decide
from burden.decision.look_records import NextLook, Outcome
from burden.decision.records import ACTIONS, Decision, OtherTreatment, PlannedDose, Reason

__all__ = [
    "ACTIONS",
    "HORIZON_DAYS",
    "Assessment",
    "Decision",
    "NextLook",
    "OtherTreatment",
    "Outcome",
    "PlannedDose",
    "Reason",
    "actions_of",
    "assess",
    "decide",
]
