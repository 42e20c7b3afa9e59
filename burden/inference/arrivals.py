"""Fish that came: the flukes and eggs they bring, and a record that begins with them.

Newcomers carry a burden of the prior, as any stock does, unless nothing is on them at all. They bring the eggs laid in
the water they travelled in. Where no fish was in the water before them, the record begins on the day they came.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from burden.case import Arrival, Case, Preparation
from burden.evidence import Value
from burden.inference.observation import log_likelihood_of_samples
from burden.inference.observation_parameters import ObservationParameters
from burden.model.forward import Event, State
from burden.model.lifecycle.rates import Surroundings, rates_at
from burden.utils.random_streams import uniform_draws

if TYPE_CHECKING:
    from burden.inference.prior import Ensemble

__all__ = ["PRIOR_NONE", "TRANSPORT_HOURS", "Newcomers", "arrive", "draw_newcomers", "in_order_of_arrival"]

#: prior chance that a stock carries no fluke at all: an assumption
PRIOR_NONE = 0.2
#: time in the water they came in, all of which goes into the tank with the eggs laid in it: an assumption
TRANSPORT_HOURS = Value(
    *("transport_hours", 8.0, 1.0, 48.0, "h", "log", "assumption"),
    conditions="a short drive to two days in a bag; of fish netted out of their bag fewer eggs come along",
)
#: largest share of their flukes that an unnamed treatment on arrival killed, each share as likely: an assumption
_MOST_KILLED = 0.97


@dataclass(frozen=True)
class Newcomers:
    """One arrival, M draws.

    Parameters
    ----------
    arrival : Arrival
    group : int
        Place of their group of fish.
    day : float
        From the visit [d].
    abundance : numpy.ndarray
        Flukes a fish as they came, before any treatment, shape (M,).
    killed : numpy.ndarray
        Share that a treatment on arrival killed, shape (M,) [-].
    progress : numpy.ndarray
        How far their resistance has come towards its balance, 0 for naive fish, shape (M,) [-].
    hours : numpy.ndarray
        In the water they came in, shape (M,) [h].
    """

    arrival: Arrival
    group: int
    day: float
    abundance: np.ndarray
    killed: np.ndarray
    progress: np.ndarray
    hours: np.ndarray

    def take(self, draws: np.ndarray) -> Newcomers:
        """Return the draws at some positions, repeats allowed."""
        names = ("abundance", "killed", "progress", "hours")
        return replace(self, **{name: getattr(self, name)[draws] for name in names})

    def log_likelihood(
        self, pond: Ensemble, seen: ObservationParameters, stages: dict[str, np.ndarray]
    ) -> np.ndarray | float:
        """Log-likelihood of what was seen on them, shape (M,).

        Notes
        -----
        Of n fish only the sum is known. The sum of n gamma rates of shape k is gamma of shape n·k, so they are read
        as one fish with n times the burden.
        """
        if self.arrival.flukes_seen is None:
            return 0.0
        p, many, flukes = pond.setting.parameters, self.arrival.preparations or 1, self.arrival.flukes_seen
        home = p.evidence.site
        look = Preparation(self.arrival.date, "newcomers", "random", home, flukes, flukes)
        weight_g = pond.setting.fish.weight_g[self.group]
        mean, k = many * self.abundance, many * p["aggregation"]
        return log_likelihood_of_samples([look], mean, k, seen, home, weight_g, stages)


def in_order_of_arrival(case: Case, first_day: float) -> list[tuple[int, int, Arrival]]:
    """Return the arrivals from a day on: group, number in the whole record, and arrival, by rising date."""
    return [(g, i, a) for i, (g, a) in enumerate(case.arrivals) if case.day_of(a.date) >= first_day]


def draw_newcomers(case: Case, n: int, seed: int, parasite: Value, weight_g: np.ndarray) -> tuple[Newcomers, ...]:
    """Draw what every arrival up to the visit carries.

    Parameters
    ----------
    case : Case
    n, seed : int
        Number of draws and seed.
    parasite : Value
        Prior abundance of the set [flukes per g of fish].
    weight_g : numpy.ndarray
        Mean weight by group, shape (G, n) [g].
    """
    spread = (np.log(parasite.high) - np.log(parasite.low)) / (2 * ndtri(0.95))
    found = []
    for i, (g, arrival) in enumerate(case.arrivals):

        def uniform(what: str, i: int = i) -> np.ndarray:
            return uniform_draws(f"newcomers {i}: {what}", n, seed)

        any_on = uniform("any flukes") >= PRIOR_NONE
        each = parasite.value * weight_g[g] * np.exp(spread * ndtri(uniform("abundance")))
        naive = uniform("naive") < 0.5 if arrival.naive is None else np.full(n, arrival.naive)
        found.append(
            Newcomers(
                arrival,
                g,
                float(case.day_of(arrival.date)),
                any_on * each,
                killed=_MOST_KILLED * uniform("treated") if arrival.treated else np.zeros(n),
                progress=np.where(naive, 0.0, uniform("resistance so far")),
                hours=TRANSPORT_HOURS.draw(n, seed, f"newcomers {i}: "),
            )
        )
    return tuple(found)


def arrive(pond: Ensemble, come: Newcomers, alive: np.ndarray | None = None) -> tuple[Event, State]:
    """Return the arrival as an event, and the state of a tank that held nothing before it.

    Parameters
    ----------
    pond : Ensemble
    come : Newcomers
    alive : numpy.ndarray, optional
        Live fish of each group in the tank that begins with them, shape (G,); without it as many as came.
    """
    setting, n = pond.setting, come.abundance.size
    joining = np.zeros(setting.fish.weight_g.shape)
    joining[come.group] = come.arrival.count
    fish = joining[:, 0] if alive is None else alive
    state = pond.start(come.abundance, fish, come.day, come.progress)
    eggs = _eggs_brought(pond, come, state, fish)
    flukes = {form: (1 - come.killed) * chain for form, chain in state.fish.items()}
    water = {form: np.zeros_like(chain) for form, chain in state.water.items()}
    for form in [f.name for f in setting.cycle.forms if f.name in water][:1]:  # the form that is laid
        water[form][0] = eggs
    event = Event(
        come.day,
        arrive=np.broadcast_to(joining, (len(joining), n)),
        bring={**flukes, **water},
        arrive_resistance=state.resistance,
    )
    return event, replace(state, fish=flukes, water=water)


def _eggs_brought(pond: Ensemble, come: Newcomers, state: State, fish: np.ndarray) -> np.ndarray:
    """Eggs laid on the way, shape (M,); live-bearers lay none."""
    setting = pond.setting
    if setting.parameters.development is None:
        return np.zeros(come.abundance.size)
    around = Surroundings(fish.sum() / setting.volume_m3)
    laying = rates_at(setting.parameters, setting.temperature.at(come.day), around)["laying_rate"]
    adults = (state.fish["adult"].sum(0) * fish[:, None]).sum(0)
    return adults * laying * come.hours / 24
