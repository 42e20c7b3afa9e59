"""Small ponds for the tests of the model core, and an adaptive solver to hold them against.

Numbers here set up mathematics, not biology: the model is asked whether it solves its own equations, so the values
need no source. Where a test checks the model against the world, the source stands beside the check.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp

from burden.evidence import ParasiteSet, Value, load_parasite
from burden.model.dose_effect import DoseEffect
from burden.model.forward import Event, Scenario, State, derivative
from burden.model.hosts import Fish
from burden.model.lifecycle.development import Development
from burden.model.lifecycle.durations import DurationTable
from burden.model.lifecycle.parameters import Parameters, draw_parameters
from burden.model.lifecycle.rates import establishment_for
from burden.model.lifecycle.transitions import LifeCycle, LifeForm, Transition, build_cycle
from burden.model.susceptibility import susceptibility_classes
from burden.model.temperature import Temperature

FISH, WEIGHT_G, VOLUME_M3 = 40.0, 400.0, 10.0
DENSITY = FISH / VOLUME_M3


def a_value(name: str, value: float, factor: float = 1.0) -> Value:
    """A value of no source, spread by a factor."""
    return Value(name, value, value / factor, value * factor, "-", "log", "assumption")


def warm_kind() -> ParasiteSet:
    """Dactylogyrus of the kind on which its timing was measured, D. vastator: ponds of one kind alone."""
    return load_parasite("dactylogyrus").mixture.kinds["dactylogyrus_vastator"]


def blood_feeder(evidence: ParasiteSet) -> ParasiteSet:
    """An egg-layer made to feed on blood."""
    values = {
        "blood_loss_per_burden": a_value("blood_loss_per_burden", 0.05, 2.0),
        "blood_recovery_per_day": a_value("blood_recovery_per_day", 0.04, 1.5),
        "blood_recovery_q10": a_value("blood_recovery_q10", 2.0, 1.2),
        "anaemia_hazard": a_value("anaemia_hazard", 0.02, 2.0),
    }
    return replace(evidence.with_overrides(values), blood_feeder=True)


def drawn(parasite: str | ParasiteSet, draws: int, seed: int = 1, density: float = DENSITY) -> Parameters:
    """Draws with their establishment."""
    return establishment_for(draw_parameters(parasite, draws, seed), density)


def fixed(parameters: Parameters, n_egg: float, n_juvenile: float) -> Parameters:
    """The same draws with one gamma shape of hatching and one of maturity, and no part that cold blocks."""

    def with_shape(table: DurationTable, shape: float) -> DurationTable:
        return replace(table, shape=np.full(table.mean_rate.shape, shape))

    old = parameters.development
    hatch, maturity = with_shape(old.hatch, n_egg), with_shape(old.maturity, n_juvenile)
    return replace(parameters, development=Development(hatch, maturity, success=old.success, laying=old.laying))


def plain_cycle(**stages: int) -> LifeCycle:
    """Egg-layer whose eggs all start at once."""
    cycle = build_cycle(load_parasite("dactylogyrus"))
    forms = tuple(form for form in cycle.forms if form.name != "fresh_egg")
    laid = Transition("adult", "bears", "laying_rate", (("egg", None),))
    others = tuple(t for t in cycle.transitions if t.source != "fresh_egg" and t.event != "bears")
    return replace(cycle, forms=forms, transitions=(laid, *others)).with_stages(**stages)


def one_form_cycle() -> LifeCycle:
    """Adults that bear adults."""
    cycle = build_cycle(load_parasite("dactylogyrus"))
    bears = Transition("adult", "bears", "laying_rate", (("adult", None),))
    dies = Transition("adult", "any time", "adult_loss")
    return replace(cycle, forms=(LifeForm("adult", "fish", 1),), transitions=(bears, dies), sweeps=2)


def pond(
    parameters: Parameters,
    temperature: Temperature | float,
    *,
    cycle: LifeCycle | None = None,
    groups: int = 1,
    classes: int = 8,
    per_fish: float = 30.0,
    in_water: float = 300.0,
    **more: object,
) -> tuple[Scenario, State]:
    """A pond of `FISH` fish, every stage of every life form present; `more` goes to the setting."""
    cycle, m = cycle or build_cycle(parameters.evidence), parameters.size
    course = temperature if isinstance(temperature, Temperature) else Temperature.constant(temperature)
    fish = Fish(np.full((groups, m), WEIGHT_G), susceptibility_classes(parameters["aggregation"], classes).means)
    setting = Scenario(cycle, parameters, fish, course, **{"volume_m3": np.full(m, VOLUME_M3), **more})
    water = {f.name: np.full((f.stages, m), in_water / f.stages) for f in cycle.forms if f.place == "water"}
    flukes = {f.name: np.full((f.stages, groups, m), per_fish / f.stages) for f in cycle.forms if f.place == "fish"}
    alive = np.full((groups, classes, m), FISH / groups / classes)
    none = np.zeros(m)
    return setting, State(water, flukes, alive, np.ones_like(alive), none, none, none)


def dose_effect(
    draws: int,
    adult: float,
    juvenile: float,
    larva: float = 0.0,
    sheltered: float = 0.0,
    fraction: float = 0.0,
    larva_hazard: float = 0.0,
    settler_kill: float = 0.0,
    fade: float = 1.0,
) -> DoseEffect:
    """A dose that is the same in every draw."""
    full = {name: np.full(draws, x) for name, x in (("adult", adult), ("juvenile", juvenile), ("larva", larva))}
    return DoseEffect(full, *(np.full(draws, x) for x in (sheltered, fraction, larva_hazard, settler_kill, fade)))


# --- states as vectors -------------------------------------------------------------------------------------------
def flat(state: State) -> np.ndarray:
    """Every number of a state in one vector."""
    return np.concatenate([np.ravel(x) for x in _arrays(state)])


def unflat(vector: np.ndarray, like: State) -> State:
    """The state whose numbers stand in a vector."""
    parts = iter(np.split(vector, np.cumsum([x.size for x in _arrays(like)])[:-1]))
    water = {name: next(parts).reshape(x.shape) for name, x in like.water.items()}
    fish = {name: next(parts).reshape(x.shape) for name, x in like.fish.items()}
    names = ("alive", "haemoglobin", "resistance", "deaths", "fluke_deaths")
    return State(water, fish, **{name: next(parts).reshape(getattr(like, name).shape) for name in names})


def _arrays(state: State) -> list[np.ndarray]:
    rest = [state.alive, state.haemoglobin, state.resistance, state.deaths, state.fluke_deaths]
    return [*state.water.values(), *state.fish.values(), *rest]


def totals(setting: Scenario, state: State) -> dict[str, float]:
    """What is compared of a state of one draw: totals of each life form in the pond, fish, blood and resistance."""
    uptake = (state.alive * setting.fish.susceptibility).sum(1)
    return {
        **{name: float(x.sum()) for name, x in state.water.items()},
        **{name: float((x * uptake).sum()) for name, x in state.fish.items()},
        "alive": float(state.alive.sum()),
        "haemoglobin": float((state.haemoglobin * state.alive).sum() / state.alive.sum()),
        "resistance": float(state.resistance.sum()),
        "deaths": float(state.deaths.sum()),
    }


def by_lsoda(setting: Scenario, state: State, days: Sequence[float], events: Sequence[Event], rtol: float = 1e-9):
    """States of one draw at `days` by LSODA, restarted at every event and knot, on the model's own right-hand side."""
    from burden.model.forward.run import happen, pieces

    drugs = tuple(event.drug for event in events if event.drug is not None)
    found = []
    for start, end in pieces(setting, np.asarray(days, float), events):
        for event in events:
            if event.day == start:
                state = happen(state, event, setting.fish.susceptibility)
        if start in days:
            found.append(state)
        if end > start:
            state = _lsoda_piece(setting, state, start, end, drugs, rtol)
    return found


def _lsoda_piece(setting, state, start, end, drugs, rtol):
    like = state

    def slope(day: float, y: np.ndarray) -> np.ndarray:
        return flat(derivative(setting, unflat(y, like), day, drugs))

    scale = np.abs(flat(state)).max()
    solved = solve_ivp(slope, (start, end), flat(state), method="LSODA", rtol=rtol, atol=1e-12 * scale)
    assert solved.success, solved.message
    return unflat(solved.y[:, -1], like)
