"""Do ponds of a group narrow each other's answers, and do the narrower ranges hold the truth as often?

Run: python -m analysis.groups scores      40 groups of 20 by scores alone, half a minute
     python -m analysis.groups [GROUPS]      8 groups of 20 ponds, some two minutes of one core

Each group draws, for each of the five things that ponds may share, what share of the unknown its ponds have in common
(less than half in groups of odd numbers, more in even ones) and a common part; the rest of every pond is drawn from the
prior. Its visit is simulated as in `analysis/calibration.py`: clips of one, five or twenty fish; in four of the twenty
ponds all gills of two fish are counted too, and four were dosed eight days before. All is then estimated alone and with
the group. This is the model of the estimate itself; what whole flukes would change stands in `calibration.py`. Of the
kill only this water's own part is shared, which is less than the group may believe.

Writes results/groups.csv, a row a pond, kept as it goes, and prints coverage and what is gained, over all ponds and by
how much the group had in common.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from scipy import stats
from scipy.special import ndtr, ndtri

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from analysis.visits import PARASITE, Kind, simulate_visit  # noqa: E402
from burden.inference.group import own_answer, pooled  # noqa: E402
from burden.inference.group_result import PondOfGroup  # noqa: E402
from burden.inference.sampler import Effort  # noqa: E402
from burden.statistics.exchangeable import pool_scores  # noqa: E402
from burden.utils.results import CredibleInterval, weighted_quantile  # noqa: E402

__all__ = ["PONDS", "judge_group", "judge_scores", "shared_ranks", "summary"]

#: streams of what ponds may share
STREAMS = (
    *(f"{PARASITE}aggregation", f"{PARASITE}reproduction_number", "abundance at the start"),
    *("share gill_clip", "this water:praziquantel"),
)
#: codes of the streams whose truth is known as a score
CODES = dict(
    zip(("aggregation", "reproduction_number", "abundance_per_gram", "share_seen_gill_clip"), STREAMS, strict=False)
)
PONDS, DRAWS, EFFORT = 20, 600, Effort(pilot=300, ponds=600)
KINDS = (
    *(Kind(1, clips=3), Kind(5), Kind(5), Kind(20)) * 3,
    *(Kind(5, whole=2), Kind(5, dose_day=-8), Kind(20, dose_day=-8), Kind(5, whole=2)) * 2,
)


def shared_ranks(seed: int, ponds: int = PONDS) -> tuple[np.ndarray, list[dict[str, np.ndarray]]]:
    """Draw how much a group has in common in each stream, shape (5,), and the ranks of each pond's streams.

    Groups of even numbers have more than half of the unknown in common, those of odd ones less.
    """
    rng = np.random.default_rng([seed, 75])
    alike = 0.5 * (rng.random(len(STREAMS)) + (seed % 2 == 0))
    common, own = rng.standard_normal(len(STREAMS)), rng.standard_normal((ponds, len(STREAMS)))
    ranks = ndtr(np.sqrt(alike) * common + np.sqrt(1 - alike) * own)
    return alike, [{name: row[[i]] for i, name in enumerate(STREAMS)} for row in ranks]


def judge_group(seed: int) -> Iterator[dict[str, object]]:
    """Simulate and estimate one group: a row a pond."""
    alike, ranks = shared_ranks(seed)
    visits = [simulate_visit(kind, 1000 * seed + i, ranks[i]) for i, kind in enumerate(KINDS)]
    answers = [own_answer(v.case, PARASITE, DRAWS, 1000 * seed + 500 + i, EFFORT) for i, v in enumerate(visits)]
    ponds = pooled(answers, PARASITE, DRAWS, seed).ponds
    for kind, visit, pond, own in zip(KINDS, visits, ponds, ranks, strict=True):
        about = {"group": seed, "alike": f"{alike.mean():.2f}", "kind": kind.name, "flukes": visit.flukes}
        yield {**about, **_row(pond), **_scores(pond, own if visit.flukes else {})}


def _scores(pond: PondOfGroup, ranks: dict[str, np.ndarray]) -> dict[str, object]:
    """Of each thing shared: whether its ranges hold the truth, alone and with the group, and what narrows.

    Of ponds that carry flukes, and among draws that do.
    """
    found: dict[str, object] = {}
    for code, stream in CODES.items():
        said, has = ["", "", ""], pond.own.carrying
        if ranks and code in pond.own.scores and has.any():
            truth, score = float(ndtri(ranks[stream][0])), pond.own.scores[code][has]
            alone = CredibleInterval.of(score)
            both = CredibleInterval.of(score, pond.weight[has]) if pond.together is not None else alone
            said = [str(int(x.low <= truth <= x.high)) for x in (alone, both)]
            said.append(f"{1 - (both.high - both.low) / (alone.high - alone.low):.3f}")
        found |= dict(zip((f"{code}_alone", f"{code}_with_group", f"{code}_narrower"), said, strict=True))
    return found


def _row(pond: PondOfGroup) -> dict[str, object]:
    """Ranges of flukes on all fish alone and with the group; where the group is refused, the pond's own."""
    found: dict[str, object] = {"refused": "" if pond.refusal is None else pond.refusal.why}
    for name, range_ in (("alone", pond.alone), ("with_group", pond.together or pond.alone)):
        for key in ("low", "median", "high"):
            found[f"{key}_{name}"] = "" if range_ is None else f"{getattr(range_, key) * pond.own.fish:.5g}"
    return found | {"worth": f"{pond.effective_draws:.0f}"}


def summary(rows: Sequence[dict[str, object]]) -> dict[str, float]:
    """Coverage alone and with the group, the median share by which ranges are narrower, and ponds left as they were."""
    answered = [row for row in rows if row["low_alone"] != ""]
    truth = np.array([float(row["flukes"]) for row in answered])
    found: dict[str, float] = {"ponds": len(answered), "refused": sum(row["refused"] != "" for row in rows)}
    wide = {}
    for name in ("alone", "with_group"):
        low, high = (np.array([float(row[f"{key}_{name}"]) for row in answered]) for key in ("low", "high"))
        found[f"held_{name}"] = float(np.mean((low - 0.5 <= truth) & (truth <= high + 0.5)))
        wide[name] = np.log1p(high) - np.log1p(low)
        middle = np.array([float(row[f"median_{name}"]) for row in answered])
        found[f"error_{name}"] = float(np.median(np.abs(np.log1p(middle) - np.log1p(truth))))
    ratio = wide["with_group"][wide["alone"] > 0] / wide["alone"][wide["alone"] > 0]
    return found | {"narrower": float(1 - np.median(ratio)), "narrower_mean": float(1 - ratio.mean())}


def _words(name: str, rows: Sequence[dict[str, object]]) -> str:
    s = summary(rows)
    p = stats.binomtest(round(s["held_with_group"] * s["ponds"]), int(s["ponds"]), 0.9).pvalue
    return (
        f"{name}: {s['ponds']:.0f} ponds; the 90 % range holds the truth in {s['held_alone']:.1%} alone and "
        f"{s['held_with_group']:.1%} with the group (p {p:.2f}); it is narrower by {s['narrower']:.0%} in the median "
        f"({s['narrower_mean']:.0%} on average) on a log scale; the median's error goes from {s['error_alone']:.2f} to "
        f"{s['error_with_group']:.2f} (log); {s['refused']:.0f} left as they were"
    )


def _shared_words(rows: Sequence[dict[str, object]]) -> list[str]:
    said = []
    for code in CODES:
        have = [row for row in rows if row[f"{code}_alone"] != ""]
        alone, both = (np.mean([float(row[f"{code}_{x}"]) for row in have]) for x in ("alone", "with_group"))
        narrower = np.median([float(row[f"{code}_narrower"]) for row in have])
        said.append(
            f"{code}: held in {alone:.1%} alone and {both:.1%} with the group; narrower by {narrower:.0%} (score)"
        )
    return said


def judge_scores(groups: int = 40, scores: int = 4, draws: int = 400) -> dict[str, float]:
    """Pool groups whose posteriors are known in closed form: coverage of 90 % ranges, and how wide they are left."""
    rng, held, wide = np.random.default_rng(5), [], []
    for group in range(groups):
        alike, common = rng.random(scores), rng.standard_normal(scores)
        truth = np.sqrt(alike) * common + np.sqrt(1 - alike) * rng.standard_normal((PONDS, scores))
        noise = np.exp(rng.uniform(np.log(0.5), np.log(4), (PONDS, scores)))
        gain, seen = 1 / (1 + noise**2), truth + noise * rng.standard_normal((PONDS, scores))
        luck = rng.standard_normal((PONDS, scores, draws))
        own = (gain * seen)[:, :, None] + (np.sqrt(gain) * noise)[:, :, None] * luck
        weight = pool_scores(own, group, 1000).weight
        alone = np.quantile(own, [0.05, 0.95], axis=2)
        both = np.array(
            [[weighted_quantile(x, [0.05, 0.95], w) for x in pond] for pond, w in zip(own, weight, strict=True)]
        )
        both = both.transpose(2, 0, 1)
        held.append([(x[0] < truth) & (truth < x[1]) for x in (alone, both)])
        wide.append((both[1] - both[0]) / (alone[1] - alone[0]))
    alone_held, both_held = np.mean(held, axis=(0, 2, 3))
    return {"alone": float(alone_held), "with_group": float(both_held), "narrower": float(1 - np.mean(wide))}


def main(groups: int) -> None:
    """Judge what is missing, keep the table, print what it shows."""
    table = HERE / "results" / "groups.csv"
    rows = list(csv.DictReader(table.open(encoding="utf-8", newline=""))) if table.exists() else []
    done = {int(row["group"]) for row in rows}
    for seed in (s for s in range(1, groups + 1) if s not in done):
        rows += list(judge_group(seed))
        with table.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows)
    print(_words("all", rows), *_shared_words(rows), sep="\n")
    for kind in dict.fromkeys(row["kind"] for row in rows):
        print(_words(str(kind), [row for row in rows if row["kind"] == kind]))
    for rest, name in enumerate(("more", "less")):
        some = [row for row in rows if int(row["group"]) % 2 == rest]
        if some:
            print(_words(f"{name} than half in common", some), *_shared_words(some), sep="\n")


if __name__ == "__main__" and sys.argv[1:] == ["scores"]:
    print(judge_scores())
elif __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 8)
