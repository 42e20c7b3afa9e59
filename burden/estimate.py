"""The true burden behind imperfect samples.

Every draw of the prior is a pond with a past: it is run through its doses and its earlier visits to the day of each
sample, and weighed by how likely it makes what was seen there and who died. The posterior is a set of equally
weighted ponds, drawn from those by their weights, as they stand on the day of the visit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy.special import gammaln, logsumexp

from burden.case import Case, Preparation
from burden.counts import gamma_quadrature, log_mean_over_fish, log_part_count, tilted_gamma, zero_share
from burden.evidence import Evidence, Value, uniform_draws
from burden.pond import Pond, draw_pond, other_cause
from burden.progress import tell
from burden.result import INTERVAL_LEVEL, SCHEMA_VERSION, Result, Triple, number
from burden.simulate import COARSE_STEP_DAYS, State, Trajectory, simulate

__all__ = [
    "LONGEST_HISTORY_DAYS",
    "PRIOR_NONE",
    "Estimate",
    "Seen",
    "draw_seen",
    "estimate",
    "log_likelihood_of_samples",
    "share_examined",
]

PRIOR_NONE = 0.2  # prior chance that the stock carries no fluke at all: an assumption
LONGEST_HISTORY_DAYS = 120
#: ponds of the pilot and of the main round with a past, and without one; a pond with a past is costly to run, so each
#: is looked at in several ways (shares, clumping, tilt, other deaths)
_PILOT, _LEAST_DRAWS, _LEAST_CHEAP, _LOOKS = 400, 1200, 8000, 10
#: share of a site that a preparation shows when nobody wrote it down: median, 5 and 95 % points, by method, for a fish
#: of 150 g; a clip or scrape is of one size, so its share falls with the fish's gill area. Assumptions (a clip of 10 to
#: 20 of some 1,000 to 2,000 filaments)
_SHARES = {
    "gill_clip": (0.012, 0.003, 0.04),
    "skin_scrape": (0.03, 0.008, 0.1),
    "gill_arch": (0.125, 0.11, 0.14),
    "whole_organ": (0.98, 0.9, 0.999),
}
_ASSUMED_METHOD = {"gill": "gill_clip", "skin": "skin_scrape", "fin": "skin_scrape", "whole_fish": "whole_organ"}
_SMALL_PARTS = ("gill_clip", "skin_scrape")
_REFERENCE_WEIGHT_G, _AREA_EXPONENT = 150.0, 0.8  # gill area of carp grows with weight to the power 0.79
#: how strongly fish were picked by their burden, weight ∝ burden^t: t uniform between these. Assumptions
_TILTS = {"random": (0.0, 0.0), "netted": (0.0, 0.3), "moribund": (0.0, 1.0), "dead": (0.0, 1.0)}
_LOSS_PER_HOUR_DEAD = Value("loss after death", 0.05, 0.01, 0.2, "1/h", "log", "assumption")


@dataclass(frozen=True)
class Seen:
    """What is uncertain about looking, M draws each.

    Parameters
    ----------
    share_factor : mapping of str to numpy.ndarray
        What every preparation of one method shows, over its median, shape (M,).
    part_shape, detection, tilt, loss_dead : numpy.ndarray
        Clumping of a part-count, chance that a fluke in view is counted, how strongly sick fish stand for heavy ones
        (0 not at all, 1 in proportion to their burden), loss per hour after death [1/h].
    site_share : numpy.ndarray
        Share of a fish's flukes that sit on the set's own site.
    """

    share_factor: Mapping[str, np.ndarray]
    part_shape: np.ndarray
    detection: np.ndarray
    tilt: np.ndarray
    loss_dead: np.ndarray
    site_share: np.ndarray

    def take(self, draws: np.ndarray) -> Seen:
        """Return the draws at some positions."""
        return Seen(
            {method: factor[draws] for method, factor in self.share_factor.items()},
            *(getattr(self, n)[draws] for n in ("part_shape", "detection", "tilt", "loss_dead", "site_share")),
        )


def draw_seen(evidence: Evidence, n: int, seed: int) -> Seen:
    """Draw what is uncertain about looking at fish that carry a parasite set."""
    factors = {}
    for method, (middle, low, high) in _SHARES.items():
        value = Value(f"share {method}", 1.0, low / middle, high / middle, "-", "log", "assumption")
        factors[method] = value.draw(n, seed)

    def own(name: str) -> np.ndarray:
        return evidence.values[name].draw(n, seed, "looking ")

    site = own("gill_share") if "gill_share" in evidence.values else np.full(n, 0.5)
    return Seen(
        factors,
        own("part_shape"),
        own("detection_per_fluke"),
        uniform_draws("tilt", n, seed),
        _LOSS_PER_HOUR_DEAD.draw(n, seed),
        site if evidence.about["site"] == "gill" else 1 - site,
    )


def share_examined(row: Preparation, seen: Seen, weight_g: np.ndarray | float) -> np.ndarray:
    """Share of its site that a preparation shows, shape (M,) [-].

    Parameters
    ----------
    row : Preparation
    seen : Seen
    weight_g : array_like
        Weight of the fish [g].

    Notes
    -----
    As written down, or from method and fish size: a clip of so many filaments is a smaller share of larger gills.
    """
    if row.fraction_examined is not None:
        return np.full(seen.part_shape.size, float(row.fraction_examined))
    method = row.method or _ASSUMED_METHOD[row.site]
    share = _SHARES[method][0] * seen.share_factor[method]
    if method in _SMALL_PARTS:
        share = share * (_REFERENCE_WEIGHT_G / np.asarray(weight_g)) ** _AREA_EXPONENT
    return np.clip(share, 1e-6, 1.0)


def _on_site(row: Preparation, home: str, seen: Seen) -> np.ndarray:
    """Share of the fish's flukes on the site a preparation is from, shape (M,) [-]."""
    if row.site == "whole_fish":
        return np.ones_like(seen.site_share)
    here = "gill" if row.site == "gill" else "skin"
    return seen.site_share if here == home else 1 - seen.site_share


def log_likelihood_of_samples(
    rows: Sequence[Preparation],
    mean: np.ndarray,
    k: np.ndarray,
    seen: Seen,
    home: str,
    weight_g: np.ndarray,
) -> np.ndarray:
    """Log-likelihood of the preparations of one day, shape (M,).

    Parameters
    ----------
    rows : sequence of Preparation
        Of one date and one parasite set; unreadable ones say nothing.
    mean, k : numpy.ndarray
        Flukes per fish that such rows count, and aggregation across fish, shape (M,).
    seen : Seen
    home : str
        The set's own site, gill or skin.
    weight_g : numpy.ndarray
        Mean weight of the fish, shape (M,) [g].

    Notes
    -----
    Preparations of one fish share its rate, which is gamma across fish, tilted by t for fish chosen as sick; they are
    independent given it. A fish is averaged over that gamma by quadrature.
    """
    fish: dict[str, list[Preparation]] = {}
    for row in rows:
        if row.readable:
            fish.setdefault(row.fish, []).append(row)
    total = np.zeros(mean.size)
    for preparations in fish.values():
        total = total + _one_fish(preparations, np.maximum(mean, 1e-9), k, seen, home, weight_g)
    return total


def _one_fish(
    rows: Sequence[Preparation], mean: np.ndarray, k: np.ndarray, seen: Seen, home: str, weight_g: np.ndarray
) -> np.ndarray:
    low, high = _TILTS[rows[0].chosen]
    shape, scale = tilted_gamma(k, mean, low + (high - low) * seen.tilt)
    largest = max(min(row.count_low + 1, 400) for row in rows)
    rate, log_weight = gamma_quadrature(shape, scale, largest_count=float(largest))
    log_likelihood = np.zeros_like(rate)
    for row in rows:
        weight = weight_g if row.weight_g is None else row.weight_g
        here = _on_site(row, home, seen)
        if row.hours_dead:
            here = here * np.exp(-seen.loss_dead * row.hours_dead)
        ends = (row.count_low, np.inf if row.count_high is None else row.count_high)
        share = share_examined(row, seen, weight)
        log_likelihood = log_likelihood + log_part_count(*ends, rate * here, share, seen.detection, seen.part_shape)
    return log_mean_over_fish(log_likelihood, log_weight)


@dataclass(frozen=True)
class _Past:
    """M prior ponds on their sample days and at the visit, and n ways to look at them.

    `of` says which pond each way belongs to; `other` is its death rate from another cause.
    """

    pond: Pond
    abundance_then: np.ndarray  # at the start of the history, (M,)
    by_day: Mapping[float, Mapping[str, np.ndarray]]  # (M,) each
    state: State
    log_weight: np.ndarray  # prior over proposal, (M,)
    of: np.ndarray  # (n,)
    seen: Seen
    other: np.ndarray
    log_deaths: np.ndarray  # (n,)

    @property
    def log_prior(self) -> np.ndarray:
        """Log weight of each way before anything was seen, shape (n,)."""
        return self.log_weight[self.of]


@dataclass(frozen=True)
class Estimate(Result):
    """The burden behind the samples of one case and one parasite set.

    Parameters
    ----------
    pond, state, seen
        The posterior: equally weighted ponds, their states on the day of the visit, and how they were looked at.
    infected : numpy.ndarray of bool
        Whether a draw carries flukes at all; one that does not has none in its state.
    """

    case: Case
    parasite: str
    seed: int
    pond: Pond
    state: State
    seen: Seen
    infected: np.ndarray
    probability_infected: float
    prevalence: Triple
    mean_abundance: Triple
    aggregation_k: Triple
    detection_per_fish: Triple
    flukes_total: Triple
    abundance_before: Triple
    eggs_waiting: Triple
    counted: Mapping[str, Any] | None
    missed: str
    prior_and_posterior: Sequence[tuple[str, Triple, Triple]]
    effective_draws: float
    warnings: Sequence[str] = field(default=())

    @property
    def draws(self) -> int:
        """Number of posterior draws."""
        return self.pond.size

    def as_dict(self) -> dict[str, Any]:
        """Return the JSON form of the contract."""
        return {
            "schema_version": SCHEMA_VERSION,
            "seed": self.seed,
            "draws": self.draws,
            "interval_level": INTERVAL_LEVEL,
            "case": self.case.name,
            "parasite": self.parasite,
            "probability_infected": number(self.probability_infected),
            "prevalence": self.prevalence.as_dict(),
            "mean_abundance": self.mean_abundance.as_dict(),
            "aggregation_k": self.aggregation_k.as_dict(),
            "detection_per_fish": self.detection_per_fish.as_dict(),
            "flukes_total": self.flukes_total.as_dict(),
            "abundance_before": self.abundance_before.as_dict(),
            "eggs_waiting": self.eggs_waiting.as_dict(),
            "counted": self.counted,
            "missed": self.missed,
            "prior_and_posterior": [
                {"name": name, "prior": a.as_dict(), "posterior": b.as_dict()}
                for name, a, b in self.prior_and_posterior
            ],
            "warnings": list(self.warnings),
        }

    def rows(self) -> list[dict[str, Any]]:
        """Return the main numbers, a row each."""
        named = {
            "mean abundance (flukes per fish)": self.mean_abundance,
            "flukes on all live fish": self.flukes_total,
            "prevalence": self.prevalence,
            "aggregation k": self.aggregation_k,
            "detection per fish": self.detection_per_fish,
            "abundance at the start of the record": self.abundance_before,
            "eggs waiting in the water": self.eggs_waiting,
        }
        return [{"quantity": name, "median": t.median, "low": t.low, "high": t.high} for name, t in named.items()]

    def text(self) -> str:
        """Return the estimate in words."""
        lines = [
            f"{self.parasite} in {self.case.title or self.case.name}: {self.mean_abundance.text()} flukes a fish, "
            f"{self.flukes_total.text()} on all live fish.",
            self.missed,
            f"Fish that carry any: {self.prevalence.text(scale=100)} %. Chance that the stock carries flukes at all: "
            f"{100 * self.probability_infected:.0f} %.",
            f"Preparations like yours, from one infected fish, show a fluke in "
            f"{self.detection_per_fish.text(scale=100)} of 100.",
            f"Eggs waiting in the water: {self.eggs_waiting.text()}.",
        ]
        if not self.case.has_samples:
            lines.insert(1, "No sample could be read: these numbers are what is believed of any such pond.")
        lines += [f"Note: {warning}" for warning in self.warnings]
        return "\n".join(lines)


def estimate(case: Case, parasite: str | None = None, draws: int = 500, seed: int = 1) -> Estimate:
    """Estimate the burden of a case.

    Parameters
    ----------
    case : Case
    parasite : str, optional
        One of the case's sets; the first when not given.
    draws, seed : int
        Posterior draws, and seed: same case, draws and seed, same answer.

    Returns
    -------
    Estimate

    Notes
    -----
    Importance sampling in two rounds. A pilot finds where the burden at the start of the record must have been; the
    second round draws it from there (and a fifth from the prior), corrects by the ratio of the two densities, and is
    resampled systematically. A case without a past needs no run of the model and is drawn far more densely.
    """
    parasite = parasite or case.parasites[0]
    past = bool(_history_days(case)[0] < 0)
    size = max(2 * draws, _LEAST_DRAWS) if past else max(8 * draws, _LEAST_CHEAP)
    proposal = None
    if past:
        tell(f"{parasite}: the past of the pond, first round")
        pilot = _run_past(case, parasite, _PILOT, seed, None)
        proposal = _proposal(pilot, _log_likelihood(pilot, parasite) + pilot.log_prior)
    tell(f"{parasite}: the burden behind the samples")
    whole = _run_past(case, parasite, size, seed, proposal)
    log_posterior = _log_likelihood(whole, parasite) + whole.log_prior
    return _summarise(whole, log_posterior, parasite, draws, seed)


def _history_days(case: Case) -> np.ndarray:
    """Days on which something was seen or done, the visit last; the first begins the run [d]."""
    dates = {*case.sample_dates, *(a.date for a in case.given), *(d.date for d in case.deaths)}
    if case.deaths:
        first = case.deaths[0]
        dates.add(first.date)
    days = sorted({max(case.day_of(d), -LONGEST_HISTORY_DAYS) for d in dates} | {0})
    if case.deaths and days[0] == case.day_of(case.deaths[0].date):
        days.insert(0, days[0] - case.deaths[0].days_covered)
    return np.array(days, float)


def _run_past(case: Case, parasite: str, m: int, seed: int, proposal: tuple[float, float] | None) -> _Past:
    pond = draw_pond(case, parasite, m, seed)
    evidence = pond.setting.parameters.evidence
    log_abundance, log_weight = _draw_abundance(pond, pond.setting.fish.weight_g.mean(0), proposal)
    days = _history_days(case)
    alive = _fish_at_start(case, days[0])
    start = pond.start(np.exp(log_abundance), alive, days[0], uniform_draws("resistance so far", m, seed))
    run = simulate(pond.setting, start, days, [e for e in pond.given if e.day >= days[0]], COARSE_STEP_DAYS)
    adults = sum(run.fish[name] for name in pond.setting.cycle.burden_forms)
    by_day = {
        day: {"all": run.abundance[i], "adult": adults[i], "juvenile": run.abundance[i] - adults[i]}
        for i, day in enumerate(days)
    }
    of = np.repeat(np.arange(m), _LOOKS if len(days) > 1 else 1)
    other = other_cause(of.size, seed)
    return _Past(
        pond=pond,
        abundance_then=np.exp(log_abundance),
        by_day=_before_doses(by_day, pond, days),
        state=_as_many_as_counted(run.end, case),
        log_weight=log_weight,
        of=of,
        seen=draw_seen(evidence, of.size, seed),
        other=other,
        log_deaths=_log_likelihood_of_deaths(case, days, run, of, other),
    )


def _as_many_as_counted(state: State, case: Case) -> State:
    """The live fish of each group are counted at the visit: keep the mix of classes, set their number."""
    count = np.array([float(group.count) for group in case.fish])[:, None, None]
    total = state.alive.sum(1, keepdims=True)
    return replace(state, alive=np.divide(state.alive * count, total, out=np.zeros_like(state.alive), where=total > 0))


def _before_doses(
    by_day: dict[float, dict[str, np.ndarray]], pond: Pond, days: np.ndarray
) -> dict[float, dict[str, np.ndarray]]:
    """On a day with both a sample and a dose the sample came first: take what the dose killed back in."""
    sampled = {float(pond.case.day_of(d)) for d in pond.case.sample_dates}
    for event in pond.given:
        if event.day in sampled and event.kill and event.day in by_day and event.day > days[0]:
            gone = {form: np.asarray(share) for form, share in event.kill.items()}
            adult = gone.get("adult", np.zeros(pond.size))
            juvenile = np.asarray(gone.get("juvenile", 0.0) * np.ones(pond.size))
            juvenile = juvenile.mean(0) if juvenile.ndim == 2 else juvenile
            seen = by_day[event.day]
            before = {
                "adult": seen["adult"] / np.maximum(1 - adult, 1e-3),
                "juvenile": seen["juvenile"] / np.maximum(1 - juvenile, 1e-3),
            }
            by_day[event.day] = {**before, "all": before["adult"] + before["juvenile"]}
    return by_day


def _draw_abundance(
    pond: Pond, weight_g: np.ndarray, proposal: tuple[float, float] | None
) -> tuple[np.ndarray, np.ndarray]:
    """Log mean abundance at the start, shape (M,), and the log ratio of prior to proposal."""
    from scipy.stats import norm

    value = pond.setting.parameters.evidence.values["abundance"]
    middle = np.log(value.value * weight_g)
    spread = (np.log(value.high) - np.log(value.low)) / (2 * 1.6448536269514722)
    u = uniform_draws("abundance at the start", pond.size, pond.seed)
    if proposal is None:
        return middle + spread * norm.ppf(u), np.zeros(pond.size)
    centre, width = proposal
    from_prior = uniform_draws("proposal", pond.size, pond.seed) < 0.2
    drawn = np.where(from_prior, middle + spread * norm.ppf(u), middle + centre + width * norm.ppf(u))
    z = drawn - middle
    prior = norm.logpdf(z, 0, spread)
    mixed = np.logaddexp(np.log(0.2) + prior, np.log(0.8) + norm.logpdf(z, centre, width))
    return drawn, prior - mixed


def _proposal(pilot: _Past, log_posterior: np.ndarray) -> tuple[float, float]:
    """Centre and width of the log abundance at the start, about its prior median, seen by the pilot."""
    value = pilot.pond.setting.parameters.evidence.values["abundance"]
    z = (np.log(pilot.abundance_then) - np.log(value.value * pilot.pond.setting.fish.weight_g.mean(0)))[pilot.of]
    # tempered, so that a few lucky draws of a small pilot do not make the proposal too narrow
    weight = np.exp(0.5 * (log_posterior - log_posterior.max()))
    centre = float(np.average(z, weights=weight))
    width = float(np.sqrt(np.average((z - centre) ** 2, weights=weight)))
    return centre, max(width, 0.3)


def _fish_at_start(case: Case, day: float) -> np.ndarray:
    """Live fish of each group when the record begins, (G,): the count, the dead since, less the arrivals since."""
    died = sum(row.deaths for row in case.deaths if case.day_of(row.date) > day)
    total = max(case.fish_count, 1)
    counts = []
    for group in case.fish:
        came = sum(a.count for a in group.new_arrivals if day < case.day_of(a.date) <= 0)
        counts.append(max(group.count + died * group.count / total - came, 0.0))
    return np.array(counts)


def _log_likelihood_of_deaths(
    case: Case, days: np.ndarray, run: Trajectory, of: np.ndarray, other: np.ndarray
) -> np.ndarray:
    """Poisson log-likelihood of the death log, shape (n,), each row over the days it covers."""
    total = np.zeros(of.size)
    for row in case.deaths:
        end = float(case.day_of(row.date))
        start = end - row.days_covered
        if start < days[0]:
            continue
        own = _at(days, run.deaths, end) - _at(days, run.deaths, start)
        alive = 0.5 * (_at(days, run.alive, start) + _at(days, run.alive, end))
        expected = np.maximum(own[of] + other * alive[of] * row.days_covered, 1e-12)
        total = total + row.deaths * np.log(expected) - expected - gammaln(row.deaths + 1)
    return total


def _at(days: np.ndarray, values: np.ndarray, day: float) -> np.ndarray:
    i = int(np.clip(np.searchsorted(days, day, side="right") - 1, 0, len(days) - 2)) if len(days) > 1 else 0
    if len(days) == 1:
        return values[0]
    share = np.clip((day - days[i]) / (days[i + 1] - days[i]), 0, 1)
    return values[i] * (1 - share) + values[i + 1] * share


def _log_likelihood(past: _Past, parasite: str, clean: bool = False) -> np.ndarray:
    """Log-likelihood of samples and deaths, shape (n,); `clean` reads every count as 0 and leaves the deaths out."""
    case, p, of = past.pond.case, past.pond.setting.parameters, past.of
    home = p.evidence.about["site"]
    weight, k = past.pond.setting.fish.weight_g.mean(0)[of], p["aggregation"][of]
    total = np.zeros(of.size) if clean else past.log_deaths.copy()
    for day, rows in _rows_by_day(case, parasite, clean).items():
        for stage in ("all", "adult", "juvenile"):
            mine = [row for row in rows if (row.stage or "all") == stage]
            if mine:
                mean = past.by_day[day][stage][of]
                total = total + log_likelihood_of_samples(mine, mean, k, past.seen, home, weight)
    return total


def _rows_by_day(case: Case, parasite: str, clean: bool = False) -> dict[float, list[Preparation]]:
    found: dict[float, list[Preparation]] = {}
    for row in case.samples:
        if row.readable and row.parasite in (None, parasite):
            day = float(max(case.day_of(row.date), -LONGEST_HISTORY_DAYS))
            found.setdefault(day, []).append(replace(row, count_low=0, count_high=0) if clean else row)
    return found


def _resample(log_weight: np.ndarray, n: int, seed: int) -> tuple[np.ndarray, float]:
    """Systematic resampling: positions, shape (n,), and the number of draws the weights are worth."""
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    points = (np.arange(n) + uniform_draws("resample", 1, seed)[0]) / n
    chosen = np.searchsorted(np.cumsum(weight), points, side="left")
    chosen = np.minimum(chosen, weight.size - 1)
    # neighbours of a resample are copies; a fixed shuffle keeps any half of the draws a fair sample
    order = np.argsort(uniform_draws("order of the resample", n, seed), kind="stable")
    return chosen[order], float(1 / (weight**2).sum())


def _effective_ponds(past: _Past, log_posterior: np.ndarray) -> float:
    """Number of ponds the weights are worth, the ways of looking at each added up."""
    weight = np.bincount(past.of, np.exp(log_posterior - log_posterior.max()))
    return float(weight.sum() ** 2 / (weight**2).sum())


def _summarise(past: _Past, log_posterior: np.ndarray, parasite: str, draws: int, seed: int) -> Estimate:
    ways, effective = _resample(log_posterior, draws, seed)
    case, chosen = past.pond.case, past.of[ways]
    pond, state, seen = past.pond.take(chosen), past.state.take(chosen), past.seen.take(ways)
    p = pond.setting.parameters
    p = p.replaced(background_hazard=p["background_hazard"] + past.other[ways])
    pond = replace(pond, setting=replace(pond.setting, parameters=p))
    effective = min(effective, _effective_ponds(past, log_posterior))
    k = pond.setting.parameters["aggregation"]
    last = past.by_day[0.0]["all"][chosen]
    infected, chance = _infected(past, log_posterior, case, parasite, last, state, draws, seed)
    state = _without_flukes(state, ~infected)
    abundance = np.where(infected, last, 0.0)
    alive = state.alive.sum((0, 1))
    eggs = sum((state.water[form].sum(0) for form in state.water if "egg" in form), np.zeros(draws))
    warnings = []
    if effective < 100:
        warnings.append(
            f"the record leaves {effective:.0f} effective draws: the samples fit few of the ponds believed possible, "
            "so the edges of the intervals are rough"
        )
    return Estimate(
        case=case,
        parasite=parasite,
        seed=seed,
        pond=pond,
        state=state,
        seen=seen,
        infected=infected,
        probability_infected=chance,
        prevalence=Triple.of(1 - zero_share(np.maximum(abundance, 1e-12), k)),
        mean_abundance=Triple.of(abundance),
        aggregation_k=Triple.of(k),
        detection_per_fish=_detection(case, parasite, last, k, seen, pond),
        flukes_total=Triple.of(abundance * alive),
        abundance_before=Triple.of(past.abundance_then[chosen]),
        eggs_waiting=Triple.of(eggs),
        counted=_counted(case, parasite),
        missed=_missed(past, parasite, log_posterior, seed),
        prior_and_posterior=_moved(past, pond, seen, chosen),
        effective_draws=effective,
        warnings=warnings,
    )


def _infected(
    past: _Past,
    log_posterior: np.ndarray,
    case: Case,
    parasite: str,
    abundance: np.ndarray,
    state: State,
    draws: int,
    seed: int,
) -> tuple[np.ndarray, float]:
    """Which draws carry flukes at all, shape (M,), and the chance of it.

    A stock without any is consistent with clean samples alone; a stock with a mean far below one a fish may have lost
    its last one by chance.
    """
    rows = [row for row in case.samples if row.readable and row.parasite in (None, parasite)]
    positive = any(row.count_low > 0 for row in rows)
    none_before = 0.0
    if not positive:
        evidence = float(logsumexp(log_posterior) - logsumexp(past.log_prior))
        without = np.log(PRIOR_NONE)
        none_before = float(np.exp(without - np.logaddexp(without, np.log1p(-PRIOR_NONE) + evidence)))
    alive = np.maximum(state.alive.sum((0, 1)), 1e-9)
    spread = alive * past.pond.setting.parameters["aggregation"].mean()
    lost = (1 + abundance * alive / spread) ** -spread
    seen_now = any(row.count_low > 0 and row.date == case.visit_date for row in rows)
    none = none_before + (1 - none_before) * (0.0 if seen_now else lost)
    u = uniform_draws("infected", draws, seed)
    return u >= none, float(1 - np.mean(none))


def _without_flukes(state: State, clean: np.ndarray) -> State:
    keep = (~clean).astype(float)
    return replace(
        state,
        water={form: x * keep for form, x in state.water.items()},
        fish={form: x * keep for form, x in state.fish.items()},
    )


def _detection(case: Case, parasite: str, mean: np.ndarray, k: np.ndarray, seen: Seen, pond: Pond) -> Triple:
    """Chance that the preparations taken from one infected fish, picked at random, show a fluke."""
    days = _rows_by_day(case, parasite, clean=True)
    if not days:
        return Triple.missing()
    rows = days[max(days)]
    home = pond.setting.parameters.evidence.about["site"]
    weight = pond.setting.fish.weight_g.mean(0)
    infected = 1 - zero_share(np.maximum(mean, 1e-9), k)
    chances = []
    for fish in sorted({row.fish for row in rows}):
        mine = [replace(row, chosen="random") for row in rows if row.fish == fish]
        nothing = np.exp(log_likelihood_of_samples(mine, mean, k, seen, home, weight))
        chances.append((1 - nothing) / np.maximum(infected, 1e-12))
    return Triple.of(np.clip(np.mean(chances, axis=0), 0, 1))


def _counted(case: Case, parasite: str) -> dict[str, Any] | None:
    """Prevalence, mean intensity and k of the counts themselves, fish by fish, at the last visit."""
    from burden.classical import counted_summary

    rows = [row for row in case.samples if row.readable and row.parasite in (None, parasite)]
    if not rows:
        return None
    last = max(row.date for row in rows)
    totals: dict[str, int] = {}
    for row in rows:
        if row.date == last:
            totals[row.fish] = totals.get(row.fish, 0) + row.count_low
    return counted_summary(list(totals.values())).as_dict()


def _missed(past: _Past, parasite: str, log_posterior: np.ndarray, seed: int) -> str:
    """What samples like these can have missed, in words: the second line of every report."""
    rows = [row for day, rows in _rows_by_day(past.pond.case, parasite).items() if day == 0 for row in rows]
    if not rows:
        return "Nothing was looked at on this visit, so nothing is ruled out."
    clean = _log_likelihood(past, parasite, clean=True) + past.log_prior
    level = _round_level(
        past.pond.setting.parameters.evidence.values["abundance"].value * past.pond.case.mean_weight_g.value
    )
    weight = np.exp(clean - clean.max())
    chance = float(np.average(past.by_day[0.0]["all"][past.of] > level, weights=weight))
    fish = len({row.fish for row in rows})
    counted = sum(row.count_low for row in rows)
    seen = "and yours were clean" if counted == 0 else f"and yours showed {counted}"
    return (
        f"{len(rows)} preparations of {fish} fish, had all been clean, would still leave a "
        f"{100 * chance:.0f} % chance of more than {level:g} flukes a fish; {seen}."
    )


def _round_level(value: float) -> float:
    """One significant figure."""
    magnitude = 10 ** np.floor(np.log10(value))
    return float(np.round(value / magnitude) * magnitude)


def _moved(past: _Past, pond: Pond, seen: Seen, chosen: np.ndarray) -> list[tuple[str, Triple, Triple]]:
    """Prior beside posterior of what the data may barely move."""
    weight, ways = np.exp(past.log_weight), np.exp(past.log_prior)
    before, after = past.pond.setting.parameters, pond.setting.parameters
    background = before["background_hazard"][past.of] + past.other
    clip = "gill_clip" if before.evidence.about["site"] == "gill" else "skin_scrape"
    found = [
        (
            f"share seen, over its median ({clip.replace('_', ' ')})",
            past.seen.share_factor[clip],
            seen.share_factor[clip],
        ),
        ("clumping of a part-count", past.seen.part_shape, seen.part_shape),
        ("tilt of sick fish", past.seen.tilt, seen.tilt),
        ("deaths without flukes (per day)", background, after["background_hazard"]),
    ]
    looking = [(name, Triple.of(a, ways), Triple.of(b)) for name, a, b in found]
    pairs = {"aggregation k": (before["aggregation"], after["aggregation"])}
    if "hazard_per_burden" in before.values:
        pairs["deaths per fluke/g (per day)"] = (before["hazard_per_burden"], after["hazard_per_burden"])
    if "reproduction_number" in before.values:
        pairs["reproduction number"] = (before["reproduction_number"], after["reproduction_number"])
    ponds = [(name, Triple.of(a, weight), Triple.of(b)) for name, (a, b) in pairs.items()]
    then = past.abundance_then
    return [
        ("flukes a fish at the start of the record", Triple.of(then, weight), Triple.of(then[chosen])),
        *ponds,
        *looking,
    ]
