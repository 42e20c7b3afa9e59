"""Praziquantel in feed: how much, what fish leave of it, what it kills, and how long nobody eats the fish."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from burden.evidence import Value, load_agent
from burden.utils.errors import InputError, Problem

__all__ = ["COURSES", "EATEN", "FEED_KILL", "FeedCourse", "FeedDose", "feed_dose", "feed_kill"]

#: mg/kg a day above which fed praziquantel was refused: fish ate 158 of 200 and 116 of 400 mg/kg (sitja2006); low doses
#: for longer beat high ones for shorter (williams2007)
_REFUSED_FROM_MG_KG = 100.0
#: share of the dose in the feed that is eaten: of 200 mg/kg 79 %, of 400 mg/kg 29 % (sitja2006); of less
#: less is left
EATEN = Value("share_eaten", 0.85, 0.4, 0.98, "-", "logit", "assumption", ("sitja2006",))
#: share of the attached flukes that a published course kills: 19 and 36 % of Neobenedenia to 100 % of Benedenia
#: (hirazawa2013), 79 % of Lepidotrema (forwood2013b), 82 to 99.7 % by tube (forwood2016); no kill of Gyrodactylus
#: (tojo1998)
FEED_KILL = Value("feed_kill", 0.75, 0.15, 0.99, "-", "logit", "assumption", ("hirazawa2013", "forwood2016"))
#: one bolus of 50 mg/kg was below 20 µg/kg in muscle and skin of grass carp after 16 d; the temperature is not known
_RESIDUE_DAYS, _RESIDUE_MG_KG = 16.0, 50.0


@dataclass(frozen=True)
class FeedCourse:
    """A published course: mg per kg of fish a day [mg/kg/d], for so many days [d], and its sources."""

    mg_per_kg: tuple[float, float]
    days: tuple[int, int]
    sources: tuple[str, ...]


COURSES = (
    FeedCourse((50.0, 75.0), (6, 6), ("williams2007", "forwood2013b")),
    FeedCourse((70.0, 150.0), (3, 3), ("forwood2016", "hirazawa2013", "mackerel2011")),
    FeedCourse((158.0, 200.0), (6, 6), ("sitja2006",)),
)


@dataclass(frozen=True)
class FeedDose:
    """What to mix into the feed.

    Parameters
    ----------
    fish_kg : float
        Of all fish [kg].
    mg_per_kg : float
        Active substance a day [mg/kg].
    days : int
    strength_percent : float
        Of the product [%].
    feed_kg_per_day : float
        [kg]
    product_g_per_day, product_g : float
        Of the product, a day and in all [g].
    product_g_per_kg_feed : float
        [g/kg]
    refused : bool
        Whether fish are known to leave feed of this dose.
    sources : tuple of str
        Of the courses that hold the dose; none: no source gives it.
    withdrawal_days_at_least : float
        Residue of a single smaller dose lasted so long in one fish: no withdrawal, which local rules set [d].
    """

    fish_kg: float
    mg_per_kg: float
    days: int
    strength_percent: float
    feed_kg_per_day: float
    product_g_per_day: float
    product_g: float
    product_g_per_kg_feed: float
    refused: bool
    sources: tuple[str, ...]
    withdrawal_days_at_least: float = _RESIDUE_DAYS


def feed_dose(
    fish_kg: float,
    mg_per_kg: float = 75.0,
    days: int = 6,
    feed_percent: float = 1.0,
    strength_percent: float = 100.0,
    accept_unpublished: bool = False,
) -> FeedDose:
    """Work out a course of praziquantel in feed.

    Parameters
    ----------
    fish_kg : float
        Of all fish [kg].
    mg_per_kg : float
        Active substance per kg of fish a day [mg/kg].
    days : int
    feed_percent : float
        Feed a day, of the weight of the fish; less than usual, so that all of it is eaten [%].
    strength_percent : float
        Of the product [%].
    accept_unpublished : bool
        Work out a course no source gives all the same.

    Returns
    -------
    FeedDose

    Raises
    ------
    InputError
        With every problem of the input; a course no source gives is one.

    Examples
    --------
    >>> found = feed_dose(1000.0, 75.0, 6, feed_percent=1.0, strength_percent=50.0)
    >>> found.product_g_per_day, found.product_g_per_kg_feed, found.refused
    (150.0, 15.0, False)
    """
    sources = _published(mg_per_kg, days)
    allowed = bool(sources) or accept_unpublished
    if problems := _problems(fish_kg, mg_per_kg, days, feed_percent, strength_percent, allowed):
        raise InputError(problems)
    a_day = fish_kg * mg_per_kg / 1000 * 100 / strength_percent
    feed_kg = fish_kg * feed_percent / 100
    refused = mg_per_kg > _REFUSED_FROM_MG_KG
    return FeedDose(
        fish_kg,
        mg_per_kg,
        days,
        strength_percent,
        feed_kg,
        a_day,
        a_day * days,
        a_day / feed_kg,
        refused,
        sources,
    )


def _problems(
    fish_kg: float, mg_per_kg: float, days: int, feed_percent: float, strength_percent: float, allowed: bool
) -> list[Problem]:
    """What is wrong with a course in feed; `allowed` where a source gives it or it was accepted."""
    numbers = {"fish_kg": fish_kg, "mg_per_kg": mg_per_kg, "days": days, "feed_percent": feed_percent,
               "strength_percent": strength_percent}  # fmt: skip
    fix = "Give a positive number."
    problems = [
        Problem("feed", key, str(x), "a number above 0", fix)
        for key, x in numbers.items()
        if not (math.isfinite(x) and x > 0)
    ]
    if strength_percent > 100:
        problems.append(Problem("feed", "strength_percent", str(strength_percent), "at most 100", "Read the label."))
    if not problems and not allowed:
        known = "; ".join("{:g} to {:g} mg/kg for {} d".format(*c.mg_per_kg, c.days[0]) for c in COURSES)
        given = f"{mg_per_kg:g} mg/kg for {days} d"
        problems.append(
            Problem("feed", "course", given, known, "Take a published course, or accept it as unpublished.")
        )
    return problems


def _published(mg_per_kg: float, days: int) -> tuple[str, ...]:
    held = [
        c.sources for c in COURSES if c.mg_per_kg[0] <= mg_per_kg <= c.mg_per_kg[1] and c.days[0] <= days <= c.days[1]
    ]
    return tuple(dict.fromkeys(key for sources in held for key in sources))


def feed_kill(mg_per_kg: float, n: int, seed: int) -> np.ndarray:
    """Share of the attached flukes that a course in feed kills, shape (n,) [-].

    Parameters
    ----------
    mg_per_kg : float
        In the feed, a day [mg/kg].
    n, seed : int
        Number of draws and seed.

    Notes
    -----
    An assumption about published courses, for want of one curve over doses that agrees with them: what is eaten of half
    a published dose kills by half the hazard.
    """
    full = FEED_KILL.draw(n, seed, load_agent("praziquantel").name)
    eaten = EATEN.draw(n, seed, load_agent("praziquantel").name) / EATEN.value
    relative = np.minimum(mg_per_kg / COURSES[0].mg_per_kg[0], 1.0) * np.minimum(eaten, 1.0)
    return -np.expm1(relative * np.log1p(-full))
