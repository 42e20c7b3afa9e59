"""Chemistry of the water about a bath: oxygen it holds and a bath takes, and how much of the ammonia harms."""

from __future__ import annotations

import numpy as np

from burden.evidence import Agent

__all__ = ["LEFT_IN_HOURS", "oxygen_demand_mg_l", "oxygen_saturation_mg_l", "unionised_share"]

#: a bath this long is left in the water, a shorter one is not: the shortest prolonged bath any source gives [h]
LEFT_IN_HOURS = 12.0


def oxygen_demand_mg_l(agent: Agent, mg_l: float, hours: float | None = None) -> float:
    """Oxygen the agent takes from the water, 0 for one that takes none [mg/L].

    Parameters
    ----------
    agent : Agent
    mg_l : float
        Dose [mg/L].
    hours : float, optional
        Length of the bath. One shorter than 12 h is taken to be flushed out and takes its share of 30 h; a longer
        one, and one of no given length, takes the whole [h].

    Examples
    --------
    >>> from burden.evidence import load_agent
    >>> oxygen_demand_mg_l(load_agent("formalin"), 25.0)
    5.0
    """
    demand = agent.oxygen_demand
    if demand is None:
        return 0.0
    share = 1.0 if hours is None or hours >= LEFT_IN_HOURS else hours / demand.hours[0]
    return float(demand.mg_o2_per_mg * mg_l * share)


def unionised_share(ph: float, temperature_c: float) -> float:
    """Share of total ammonia that is un-ionised, in fresh water [-].

    Parameters
    ----------
    ph : float
        [-].
    temperature_c : float
        [°C].

    Notes
    -----
    pKa = 0.09018 + 2729.92/T, T in kelvin; share = 1/(1 + 10^(pKa − pH)). Fitted for 0 to 30 °C. In sea water the
    share is lower by about a fifth, so this errs on the safe side there.

    References
    ----------
    emerson1975

    Examples
    --------
    >>> round(unionised_share(8.0, 20.0), 4)
    0.0381
    """
    pka = 0.09018 + 2729.92 / (temperature_c + 273.15)
    return 1.0 / (1.0 + 10.0 ** (pka - ph))


def oxygen_saturation_mg_l(temperature_c: float, salinity_g_l: float = 0.0) -> float:
    """Oxygen that water holds in balance with air at sea level [mg/L].

    Parameters
    ----------
    temperature_c : float
        0 to 40 [°C].
    salinity_g_l : float
        0 to 40 [g/L].

    References
    ----------
    Benson & Krause (1984) Limnology and Oceanography 29:620-632; coefficients from memory.

    Examples
    --------
    >>> round(oxygen_saturation_mg_l(20.0), 2)
    9.09
    >>> round(oxygen_saturation_mg_l(20.0, 35.0), 1)
    7.4
    """
    t = temperature_c + 273.15
    fresh = -139.34411 + 1.575701e5 / t - 6.642308e7 / t**2 + 1.2438e10 / t**3 - 8.621949e11 / t**4
    salt = salinity_g_l * (1.7674e-2 - 10.754 / t + 2140.7 / t**2)
    return float(np.exp(fresh - salt))
