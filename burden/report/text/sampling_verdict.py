"""Words of how many fish before and after a dose tell whether it worked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from burden.report.text.sampling import CHANGES, as_asked, brief_plan, headline_of, reason_of, table, whole_plan
from burden.sampling.verdict import VerdictPlan
from burden.utils.formatting import counted, named, percent, plain
from burden.utils.wording import writes, writes_brief

__all__: list[str] = []  # writers are found by the type they write

CHANGES.update(
    {
        "more_of_each_fish": "More clips or scrapes of each fish raise the chance of a verdict (--preparations).",
        "later_look": "A later look also counts newly settled flukes, so it says less about the dose.",
        "other_burden": "Fewer flukes on the fish take more fish for a verdict; more flukes take fewer.",
        "same_way_both_days": "Pick the fish the same way, and take the same clips or scrapes, on both days.",
    }
)
_HEADS = {
    "day": "days after the dose",
    "fish": "fish before and after",
    "worked": "worked, called so",
    "short": "fell short, called so",
    "half": "half left, called short",
    "wrong": "wrong at most",
    "none": "no verdict",
}


def _looks(best: Mapping[str, Any]) -> str:
    fish = counted(best["fish"], "fish")
    return f"{fish} before the dose and {fish} {counted(best['day'], 'day')} after it"


@headline_of.register
def _(plan: VerdictPlan) -> str:
    if plan.best is None:
        return "No number of fish can tell whether this dose worked."
    if plan.fish is None:
        most = max(row["fish"] for row in plan.options)
        return f"Not even {counted(most, 'fish')} tell with {as_asked(plan.chance)} chance whether the dose worked."
    return f"Look at {_looks(plan.best)}, with {counted(plan.preparations, 'preparation')} of each."


@reason_of.register
def _(plan: VerdictPlan, code: str) -> str:
    if plan.best is None:
        return (
            f"Even the customary bath of {named(plan.agent)} kills so few of these flukes that one that falls short "
            "leaves hardly more."
        )
    best, about = plan.best, f"about {plain(plan.burden_before, 2)} flukes a fish"
    start = f"From {about}, this" if code == "verdict_reached" else f"The best, {_looks(best)} from {about},"
    clear = best["left_half_called_so"]
    half = "" if clear is None else f" (that left half or more: {percent(clear)})"
    return (
        f"{start} recognises a dose that worked in {percent(best['worked_called_so'])} of simulations, and one that "
        f"left more than twice the flukes it should in {percent(best['fell_short_called_so'])}{half}. It is wrong in "
        f"at most {percent(best['wrong'])}. The others end without a verdict."
    )


def _tried(plan: VerdictPlan) -> str:
    rows = [
        {
            "day": row["day"],
            "fish": row["fish"],
            "worked": percent(row["worked_called_so"]),
            "short": percent(row["fell_short_called_so"]),
            "half": None if row["left_half_called_so"] is None else percent(row["left_half_called_so"]),
            "wrong": percent(row["wrong"]),
            "none": percent(row["no_verdict"]),
        }
        for row in plan.options
    ]
    return table(_HEADS, rows, "-") if rows else ""


@writes
def _verdict_text(plan: VerdictPlan) -> str:
    """Write how many fish tell whether a dose worked, and every plan tried."""
    return whole_plan(plan, _tried(plan))


@writes_brief
def _verdict_brief(plan: VerdictPlan) -> str:
    """Write how many fish tell whether a dose worked, in a few lines."""
    return brief_plan(plan)
