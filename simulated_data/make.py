"""Three invented cases with known truth, made with whole flukes on whole fish.

Run: python simulated_data/make.py [NAME…]      (all three: about a minute)

Writes koi_pond, quarantine_tank and estate_pond beside this script: case.toml, samples.csv, deaths.csv, where there was
a logger temperature.csv, and truth.toml with what no visitor could know. Each is a plausible call: fish dying one at a
time. Nobody and no water is real. Parameters are one draw from the published ranges with some values set by hand, and
seeds were chosen so that the story holds; both are in truth.toml. Same script, same bytes.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from datetime import timedelta
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from analysis.individuals import Ponds, Record, draw_start, draw_stock, run_ponds  # noqa: E402
from analysis.samples import Look, pick_fish, take_samples  # noqa: E402
from burden.io import read_case  # noqa: E402
from burden.model.lifecycle.transitions import build_cycle  # noqa: E402
from simulated_data import write  # noqa: E402
from simulated_data.stories import STORIES, Sampling, Story  # noqa: E402

#: more flukes than this on a preparation nobody counts
_COUNTED = 100
#: how long the truth goes on after the visit, nothing done [d]
_AFTER_DAYS = 30


def live_through(story: Story) -> tuple[Ponds, Record]:
    """Run the pond of a story to some weeks after the visit, recorded daily."""
    parameters = story.parameters()
    rng = np.random.default_rng(story.luck)
    k = float(parameters["aggregation"][0])
    stock = draw_stock(rng, 1, story.fish, story.weight_g, k, story.weight_cv)
    ponds = Ponds(
        build_cycle(parameters.evidence),
        parameters,
        stock,
        story.volume_m3,
        story.course,
        story.exchange_per_day,
    )
    adults = story.start_per_gram * stock.weight_g.sum()
    days = np.arange(story.start_day, _AFTER_DAYS + 1, dtype=float)
    start = draw_start(rng, ponds, {"adult": adults, "juvenile": np.full(10, adults / 40)})
    return ponds, run_ponds(ponds, start, days, story.doses(), seed=story.luck)


def found_on(record: Record, fish: int) -> int | None:
    """Day on which a dead fish was found: the morning after it died; None for one that lives on."""
    died = record.death_day[0, fish]
    return None if np.isnan(died) else int(np.ceil(died))


def look_at_fish(story: Story, ponds: Ponds, record: Record) -> list[dict[str, object]]:
    """Take the samples of a story; fish are numbered anew each day, in the order of the rows."""
    rng = np.random.default_rng([story.luck, 1])
    rows: list[dict[str, object]] = []
    taken: dict[int, list[int]] = {}
    for sampling in story.samplings:
        i = int(np.flatnonzero(record.days == sampling.day)[0])
        already = taken.setdefault(sampling.day, [])
        places = pick_fish(record, i, rng, sampling.fish, sampling.chosen, apart_from=tuple(already))
        for place in places:
            already.append(int(place))
            for look in sampling.looks:
                for row in take_samples(record, i, rng, np.array([place]), look, sampling.chosen):
                    rows.append(_written(story, ponds, sampling, look, row, len(already)))
    return rows


def _written(
    story: Story, ponds: Ponds, sampling: Sampling, look: Look, row: dict[str, object], label: int
) -> dict[str, object]:
    """A row as the visitor wrote it down, the truth still beside it."""
    weight = float(ponds.stock.weight_g[0, row["fish"]])
    return row | {
        "place": row["fish"],
        "day": sampling.day,
        "count": row["count"] if row["count"] <= _COUNTED else f">{_COUNTED}",
        "fish": label,
        "date": story.visit + timedelta(days=sampling.day),
        "fraction_examined": look.share if sampling.share_written else "",
        "weight_g": f"{weight:.2g}" if sampling.weighed else "",
        "lethal": "yes" if sampling.lethal else "",
    }


def truth_of(story: Story, ponds: Ponds, record: Record, rows: Sequence[dict[str, object]]) -> dict[str, dict]:
    """What was true: parameters, the pond on the visit day, every sampled fish, the doses, the weeks after."""
    now = int(np.flatnonzero(record.days == 0)[0])
    alive = record.alive[now, 0]
    on_fish = sum(b[now, 0] for b in record.burden.values())[alive]
    adults = record.burden["adult"][now, 0][alive]
    later = {f"day_{d}": int(np.flatnonzero(record.days == d)[0]) for d in (7, 14, 30)}
    agent_kills = {
        f"day_{-dose.day:g}_before": [
            float(dose.effect.kill_of("adult")[0]),
            float(dose.effect.sheltered_kill[0]),
            float(dose.effect.sheltered_fraction[0]),
        ]
        for dose in story.doses()
    }
    return {
        "visit": {
            "fish_alive": int(alive.sum()),
            "flukes_total": int(on_fish.sum()),
            "adults_total": int(adults.sum()),
            "mean_abundance": float(on_fish.mean()),
            "prevalence": float((on_fish > 0).mean()),
            "aggregation_k_moments": float(on_fish.mean() ** 2 / max(on_fish.var(ddof=1) - on_fish.mean(), 1e-9)),
            "flukes_per_gram": float(on_fish.sum() / ponds.stock.weight_g[0][alive].sum()),
            "resistance": float(record.resistance[now, 0]),
            "eggs_in_water": int(record.numbers["egg"][now, 0] + record.numbers["fresh_egg"][now, 0]),
            "larvae_in_water": int(record.numbers["larva"][now, 0]),
            "flukes_by_fish": sorted(int(x) for x in on_fish),
        },
        "samples": {
            "flukes_on_fish_of_row": [int(r["flukes"]) for r in rows],
            "share_examined_of_row": [float(r["share"]) for r in rows],
        },
        "water": {"volume_l": story.litres, "exchange_per_day": story.exchange_per_day},
        "doses_kill_of_adults_sheltered_and_share_sheltered": agent_kills,
        "untreated_after_the_visit": {
            **{f"mean_abundance_{name}": _mean_on_live_fish(record, i) for name, i in later.items()},
            **{f"deaths_by_{name}": int(record.deaths[i, 0] - record.deaths[now, 0]) for name, i in later.items()},
        },
        "parameters": {name: float(v[0]) for name, v in sorted(story.parameters().values.items())},
    }


def _mean_on_live_fish(record: Record, i: int) -> float:
    return float(sum(b[i, 0] for b in record.burden.values()).sum() / max(record.alive[i, 0].sum(), 1))


def _left(record: Record, now: int, rows: Sequence[dict[str, object]]) -> int:
    """Fish alive after the visit: those killed for a look on that day are gone."""
    return int(record.alive[now, 0].sum()) - len({r["place"] for r in rows if r["lethal"] and r["day"] == 0})


def make(story: Story) -> Path:
    """Live through a story, write its folder and read it back."""
    ponds, record = live_through(story)
    rows = look_at_fish(story, ponds, record)
    folder = HERE / story.name
    folder.mkdir(exist_ok=True)
    now = int(np.flatnonzero(record.days == 0)[0])
    found = [d for f in range(story.fish) if (d := found_on(record, f)) is not None]
    write.write_case_toml(folder, story.case_toml, count=_left(record, now, rows))
    write.write_samples(folder, rows)
    write.write_deaths(folder, story.visit, found, story.watched_since)
    if story.logger is not None:
        days = np.arange(story.logger, 1)
        write.write_temperatures(folder, story.visit, days, [float(story.course.at(d)) for d in days])
    remarks = (
        "What no visitor could know: made by simulated_data/make.py with whole flukes on whole fish.",
        "flukes are juveniles and adults together, on living fish; shares and rates in the units of the evidence.",
        *story.remarks,
        f"Seed of the parameters {story.seed}, draw {story.draw}; seed of events {story.luck}, chosen so that the story"
        " holds.",
        f"Set by hand: {', '.join(sorted(story.set_by_hand))}.",
    )
    write.write_truth(folder, remarks, truth_of(story, ponds, record, rows))
    read_case(folder)
    return folder


def main(names: Sequence[str]) -> None:
    """Make the stories named, or all."""
    unknown = set(names) - STORIES.keys()
    if unknown:
        raise SystemExit(f"no such case: {', '.join(sorted(unknown))}; known: {', '.join(STORIES)}")
    for name in names or STORIES:
        print(f"wrote {make(STORIES[name]())}")


if __name__ == "__main__":
    main(sys.argv[1:])
