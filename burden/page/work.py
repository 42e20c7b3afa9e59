"""What is worked out in processes of their own, so that the page never waits: the decision on a case, and plans tried.

Messages go through a pipe as plain tuples. A worker ends when the page does.
"""

from __future__ import annotations

import pickle
import signal
import time
from collections.abc import Callable, Mapping
from datetime import date
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any

from burden.utils.results import number

__all__ = ["DRAWS", "decider", "trier"]

_Tell = Callable[..., None]
#: as `burden report` takes them, so that both write the same file
DRAWS = 500
_SEED = 1


def _messages(connection: Connection, handle: Callable[..., None]) -> None:
    """Handle one message after the other until the page is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C ends the page, which ends its workers
    while True:
        try:
            name, *values = connection.recv()
            handle(name, *values)
        except (EOFError, OSError):
            return


def decider(connection: Connection) -> None:
    """Work out one case after the other: the burden first, then all that the report holds.

    Parameters
    ----------
    connection : Connection
        Takes ("decide", folder, draws); gives ("stage", words, share), ("burden", rows, pickled trial), ("done",
        answer, found), and ("failed", sentences).
    """

    def tell(*message: Any) -> None:
        connection.send(message)

    def handle(name: str, folder: str, draws: int) -> None:
        from burden.utils.errors import BurdenError, InputError

        try:
            _decide(Path(folder), draws, tell)
        except InputError as error:
            tell("failed", [str(problem) for problem in error.problems])
        except (BurdenError, OSError) as error:
            tell("failed", [str(error)])
        except (EOFError, BrokenPipeError):
            raise
        except Exception as error:  # whatever it was, the page must say so and go on
            tell("failed", [repr(error)[:300]])

    _warm()
    _messages(connection, handle)


def _warm() -> None:
    """Load what every case needs before the first one comes."""
    import matplotlib as mpl

    mpl.use("agg")
    import burden.report.figures.inline
    import burden.report.page.page
    import burden.report.write  # noqa: F401


def _decide(folder: Path, draws: int, tell: _Tell) -> None:
    from burden.decision import assess
    from burden.inference.estimate import estimate
    from burden.io import read_case
    from burden.io.form import read_form
    from burden.page.what_if import trial_of
    from burden.report.files.folder import write_folder
    from burden.report.page.index import water_of
    from burden.report.tidy import tidy_rows
    from burden.report.write import report_files
    from burden.schedule.eligibility import unpublished_plans
    from burden.utils.errors import InputError
    from burden.utils.parallel import each  # noqa: F401  teaches pickle frozen mappings
    from burden.utils.progress import listening, report_progress

    seen, case = read_form(folder).seen, read_case(folder)
    if problems := unpublished_plans(case):
        raise InputError(problems)
    with listening(_heard(tell)):
        estimates = [estimate(case, parasite, draws, _SEED) for parasite in case.parasites]
        tell("burden", [_burden(e) for e in estimates], pickle.dumps(trial_of(case, estimates)))
        found = assess(case, draws, _SEED, estimates=estimates)
        report_progress("figures, tables, calendar, page")
        write_folder(folder / "report", report_files(found))
    answer = water_of(found).answer
    rows = [{key: _plain(value) for key, value in row.items()} for row in tidy_rows(found)]
    told = {"seen": seen, "decision": found.decision.as_dict(), "rows": rows}
    tell("done", {"text": answer["text"], "first_action": answer["first_action"]}, told)


def _plain(value: Any) -> Any:
    """A cell of a table as JSON has it."""
    if isinstance(value, float):
        return number(value)
    return value.isoformat() if isinstance(value, date) else value


def _heard(tell: _Tell) -> Callable[[str, float | None], None]:
    """A listener that passes on what is being done, ten times a second at most."""
    when, what = 0.0, ""

    def listener(stage: str, share: float | None) -> None:
        nonlocal when, what
        if stage != what or time.monotonic() - when > 0.1:
            when, what = time.monotonic(), stage
            tell("stage", stage, share)

    return listener


def _burden(e: Any) -> dict[str, Any]:
    return {
        "parasite": e.parasite,
        "flukes": e.mean_abundance.as_dict(),
        "flukes_all": e.flukes_total.as_dict(),
        "infected": float(e.probability_infected),
    }


def trier(connection: Connection) -> None:
    """Try plans on the ponds of one case.

    Parameters
    ----------
    connection : Connection
        Takes ("ponds", folder, pickled trial or None, draws) and ("try", plan); gives ("ready", about) and ("tried",
        answer), or ("failed", sentences).
    """
    held: dict[str, Any] = {}

    def handle(name: str, *values: Any) -> None:
        try:
            connection.send(("ready", _ready(held, *values)) if name == "ponds" else ("tried", _tried(held, *values)))
        except (EOFError, BrokenPipeError):
            raise
        except Exception as error:  # whatever it was, the page must say so and go on
            connection.send(("failed", [str(error)[:300]]))

    _messages(connection, handle)


def _ready(held: dict[str, Any], folder: str, trial: bytes | None, draws: int) -> dict[str, Any]:
    """Take the ponds of a case, or work them out where the page was started anew since."""
    from burden.inference.estimate import estimate
    from burden.io import read_case
    from burden.page.what_if import DRAWS as TRIED
    from burden.page.what_if import HORIZON_DAYS, trial_of
    from burden.utils.parallel import each  # noqa: F401  teaches pickle frozen mappings

    if trial is None:
        case = read_case(folder)
        held["trial"] = trial_of(
            case, [estimate(case, parasite, min(TRIED, draws), _SEED) for parasite in case.parasites]
        )
    else:
        held["trial"] = pickle.loads(trial)
    found = held["trial"]
    return {
        "draws": found.ponds[0].pond.size,
        "agents": [*found.ponds[0].pond.effects],
        "horizon": HORIZON_DAYS,
        "deaths_days": round(found.aim.deaths_until_day),
        "aim": found.aim.kind,
        "tolerable": found.aim.tolerable[0].median,
        "customary": [{"day": day, "agent": agent} for day, agent in found.customary],
    }


def _tried(held: dict[str, Any], told: Mapping[str, Any]) -> dict[str, Any]:
    from burden.page.what_if import Plan, tried

    trial = held["trial"]
    return tried(trial, Plan.of(told, [*trial.ponds[0].pond.effects]))
