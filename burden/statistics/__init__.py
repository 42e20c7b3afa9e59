"""Distributions of counts: flukes across fish, and what part of a fish shows.

A fish has a rate Λ, drawn from a gamma distribution across fish, and carries N ~ Poisson(Λ) flukes, so that
N is negative binomial across fish (terms: Bush, Lafferty, Lotz & Shostak 1997 J Parasitol 83:575). A preparation
shows a clumped part of them. Everything here is pure and broadcasts: a last axis of parameter draws may be put
on every argument.

```
negative_binomial   one fish or one preparation: log-probability of a count, of a range, of a clumped part
across_fish         chosen fish, averages over fish, chance that a fish shows a fluke
```
"""

from burden.statistics.aggregation import (
    bootstrap_estimate,
    k_corrected_moments,
    k_maximum_likelihood,
    k_moments,
    k_zero_class,
    log_likelihood_k,
    mean_abundance,
    mean_crowding,
    mean_intensity,
    poulin_d,
    standard_error_k,
    variance_to_mean,
)
from burden.statistics.count_reduction import paired_reduction, reduction, share_left
from burden.statistics.count_summary import CountedSummary, counted_summary
from burden.statistics.host_distribution import (
    detection_per_fish,
    gamma_quadrature,
    log_mean_over_fish,
    pick_pressure,
    tilted_gamma,
)
from burden.statistics.negative_binomial import log_count, log_count_range, log_part_count, part_count_size, zero_share
from burden.statistics.point_estimate import PointEstimate
from burden.statistics.prevalence import PREVALENCE_METHODS, lang_reiczigel, occupancy, prevalence, rogan_gladen
from burden.statistics.prevalence_bayes import prevalence_bayes

__all__ = [
    "PREVALENCE_METHODS",
    "CountedSummary",
    "PointEstimate",
    "bootstrap_estimate",
    "counted_summary",
    "detection_per_fish",
    "gamma_quadrature",
    "k_corrected_moments",
    "k_maximum_likelihood",
    "k_moments",
    "k_zero_class",
    "lang_reiczigel",
    "log_count",
    "log_count_range",
    "log_likelihood_k",
    "log_mean_over_fish",
    "log_part_count",
    "mean_abundance",
    "mean_crowding",
    "mean_intensity",
    "occupancy",
    "paired_reduction",
    "part_count_size",
    "pick_pressure",
    "poulin_d",
    "prevalence",
    "prevalence_bayes",
    "reduction",
    "rogan_gladen",
    "share_left",
    "standard_error_k",
    "tilted_gamma",
    "variance_to_mean",
    "zero_share",
]
