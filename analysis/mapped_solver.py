"""The model's own equations for a compiled adaptive solver, mapped over many members: a rival for the stepper.

One group of grazed fish, constant water, no fresh eggs, no drug left in the water. The state is one vector a member:
eggs and juveniles by stage, larvae, adults, live fish by class, resistance. Needs the packages of the extra
`benchmark` (diffrax, jax); nothing else in the project does.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from burden.model.forward import Event, Scenario, State
from burden.model.lifecycle.rates import Surroundings, rates_at

__all__ = ["MappedSolver"]


class MappedSolver:
    """Solve a setting from day 0 through doses, all members in one compiled call.

    Parameters
    ----------
    setting : Scenario
        M draws in constant water, egg-layers that graze, one group of fish.
    events : sequence of Event
        Doses without residue, rising.
    """

    def __init__(self, setting: Scenario, events: list[Event]) -> None:
        import jax

        jax.config.update("jax_enable_x64", True)
        p, t = setting.parameters, setting.temperature.at(0.0)
        rates = rates_at(p, t, Surroundings(1.0, setting.exchange_per_day))
        names = ("laying_rate", "adult_loss", "egg_rate", "hatch_success", "egg_loss", "larva_loss", "establishment",
                 "juvenile_rate", "juvenile_loss")  # fmt: skip
        own = ("contact_rate", "contact_half_density", "burden_scale", "background_hazard", "hazard_per_burden",
               "resistance_half_burden", "resistance_loss_per_day")  # fmt: skip
        self.arguments = {
            **{name: np.broadcast_to(rates[name], (p.size,)) for name in names},
            **{name: p[name] for name in own},
            "gain": max(t, 0.0) / p["resistance_gain_degree_days"],
            "volume": setting.volume_m3,
            "weight": setting.fish.weight_g[0],
            "susceptibility": setting.fish.susceptibility.reshape(-1, p.size).T,
        }
        self.stages = tuple(setting.cycle.form(name).stages for name in ("egg", "juvenile"))
        self.kills = [{form: np.asarray(kill) for form, kill in event.kill.items()} for event in events]
        self.stops = [event.day for event in events]
        self.solve = jax.jit(jax.vmap(self._solve, in_axes=(0, 0, None, None)), static_argnums=(2, 3))

    def start(self, state: State) -> np.ndarray:
        """Return a state as one vector a member, shape (M, stages and classes and 3)."""
        parts = [state.water["egg"], state.water["larva"], state.fish["juvenile"][:, 0], state.fish["adult"][:, 0],
                 state.alive[0], state.resistance[None]]  # fmt: skip
        return np.concatenate(parts).T

    def run(self, y: np.ndarray, days: float, rtol: float, max_steps: int = 100_000) -> np.ndarray:
        """Return the state on a day, shape as `start` gives it."""
        arguments = dict(self.arguments)
        for (start, end), kill in zip(pairwise([*self.stops, days]), self.kills, strict=True):
            y = self._dosed(np.asarray(y), kill)
            span = np.full(len(y), min(end, days) - start)
            y = self.solve(y, {**arguments, "span": span}, rtol, max_steps)
            if end >= days:
                break
        return np.asarray(y)

    def _dosed(self, y: np.ndarray, kill: dict[str, np.ndarray]) -> np.ndarray:
        y, (n, m) = y.copy(), self.stages
        places = {"egg": slice(0, n), "larva": slice(n, n + 1), "juvenile": slice(n + 1, n + 1 + m),
                  "adult": slice(n + 1 + m, n + 2 + m)}  # fmt: skip
        for form, share in kill.items():
            if form in places:
                y[:, places[form]] *= np.atleast_2d((1 - share).T).reshape(len(y), -1)
        return y

    def _solve(self, y, a, rtol, max_steps):
        import diffrax

        solution = diffrax.diffeqsolve(
            diffrax.ODETerm(self._slope), diffrax.Tsit5(), 0.0, a["span"], None, y, a,
            saveat=diffrax.SaveAt(t1=True), max_steps=max_steps,
            stepsize_controller=diffrax.PIDController(rtol=rtol, atol=1e-9),
        )  # fmt: skip
        return solution.ys[0]

    def _slope(self, _, y, a):
        import jax.numpy as jnp

        n, m = self.stages
        egg, larva, juvenile, adult = y[:n], y[n], y[n + 1 : n + 1 + m], y[n + 1 + m]
        alive, resistance = y[n + 2 + m : -1], y[-1]
        fish = alive.sum()
        uptake = alive * a["susceptibility"]
        x = a["susceptibility"] * adult / a["weight"]
        laid = a["laying_rate"] * adult * (uptake / (1 + x / a["burden_scale"])).sum()
        through_egg, through_juvenile = n * a["egg_rate"] * egg, m * a["juvenile_rate"] * juvenile
        density = fish / a["volume"]
        contact = a["contact_rate"] * density / (a["contact_half_density"] + density)
        settling = contact * larva * a["establishment"] * (1 - resistance) / uptake.sum()
        mean = (x * alive).sum() / fish
        death = a["background_hazard"] + a["hazard_per_burden"] * x
        gained = a["gain"] * mean / (mean + a["resistance_half_burden"]) * (1 - resistance)
        return jnp.concatenate([
            jnp.concatenate([laid[None], through_egg[:-1]]) - through_egg - a["egg_loss"] * egg,
            (a["hatch_success"] * through_egg[-1] - (contact + a["larva_loss"]) * larva)[None],
            jnp.concatenate([settling[None], through_juvenile[:-1]]) - through_juvenile
            - a["juvenile_loss"] * juvenile,
            (through_juvenile[-1] - a["adult_loss"] * adult)[None],
            -death * alive,
            (gained - a["resistance_loss_per_day"] * resistance)[None],
        ])  # fmt: skip

    def totals(self, y: np.ndarray) -> dict[str, np.ndarray]:
        """Return what is compared: totals of each life form in the pond and live fish, shape (M,) each."""
        n, m = self.stages
        alive = y[:, n + 2 + m : -1]
        uptake = (alive * self.arguments["susceptibility"]).sum(1)
        return {
            "egg": y[:, :n].sum(1),
            "larva": y[:, n],
            "juvenile": y[:, n + 1 : n + 1 + m].sum(1) * uptake,
            "adult": y[:, n + 1 + m] * uptake,
            "alive": alive.sum(1),
        }
