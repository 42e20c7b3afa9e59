"""What the decisions of several cases do today."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from functools import partial

from burden.case import Case
from burden.decision.assessment import decide
from burden.inference.sampler import TooFewDrawsError
from burden.utils.parallel import each

__all__ = ["actions_of"]


def actions_of(
    cases: Sequence[Case], draws: int = 500, seed: int = 1, executor: Executor | None = None
) -> dict[str, str]:
    """Return today's action of each case by its name; one that fits too few simulated ponds is left out.

    Parameters
    ----------
    cases : sequence of Case
    draws, seed : int
        As `decide` takes them.
    executor : concurrent.futures.Executor, optional
        Where the cases are worked out; here, one after the other, without.
    """
    work = partial(_action, draws=draws, seed=seed)
    found = dict(each(work, cases, executor, f"{len(cases)} decisions"))
    return {case.name: action for i, case in enumerate(cases) if (action := found[i]) is not None}


def _action(case: Case, draws: int, seed: int) -> str | None:
    try:
        return decide(case, draws, seed, True).action
    except TooFewDrawsError:
        return None
