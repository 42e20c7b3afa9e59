"""Distributions of counts: flukes across fish, and what part of a fish shows.

A fish has a rate Λ, drawn from a gamma distribution across fish, and carries N ~ Poisson(Λ) flukes, so that
N is negative binomial across fish (terms: Bush, Lafferty, Lotz & Shostak 1997 J Parasitol 83:575). A preparation
shows a clumped part of them. Everything here is pure and broadcasts: a last axis of parameter draws may be put
on every argument.

```
negative_binomial   one fish or one preparation: log-probability of a count, of a range, of a clumped part
across_fish         chosen fish, averages over fish, chance that a fish shows a fluke
classes             equal-probability classes of susceptibility for the model
on_slide            share of all gills that lies on a slide
```
"""

from burden.counts.across_fish import (
    detection_per_fish,
    gamma_quadrature,
    log_mean_over_fish,
    pick_pressure,
    tilted_gamma,
)
from burden.counts.classes import (
    SusceptibilityClasses,
    class_prevalence,
    class_variance,
    susceptibility_classes,
)
from burden.counts.negative_binomial import (
    log_count,
    log_count_range,
    log_part_count,
    part_count_size,
    zero_share,
)
from burden.counts.on_slide import GILL_ARCHES, gill_share

__all__ = [
    "GILL_ARCHES",
    "SusceptibilityClasses",
    "class_prevalence",
    "class_variance",
    "detection_per_fish",
    "gamma_quadrature",
    "gill_share",
    "log_count",
    "log_count_range",
    "log_mean_over_fish",
    "log_part_count",
    "part_count_size",
    "pick_pressure",
    "susceptibility_classes",
    "tilted_gamma",
    "zero_share",
]
