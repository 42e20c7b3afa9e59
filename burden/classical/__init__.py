"""Classical estimators with named methods, for counts as they stand.

```
Estimate            value, interval, method
├── prevalence      nine binomial intervals; imperfect tests; repeated looks
├── bayes           prevalence with a sensitivity that is uncertain itself
├── aggregation     mean, k, variance to mean, crowding, discrepancy
├── reduction       mean before against after a dose
└── summary         the three numbers the estimate prints beside the model's
```
"""

from burden.classical.aggregation import (
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
from burden.classical.bayes import prevalence_bayes
from burden.classical.estimate import Estimate
from burden.classical.prevalence import (
    PREVALENCE_METHODS,
    lang_reiczigel,
    occupancy,
    prevalence,
    rogan_gladen,
)
from burden.classical.reduction import paired_reduction, reduction, share_left
from burden.classical.summary import CountedSummary, counted_summary

__all__ = [
    "PREVALENCE_METHODS",
    "CountedSummary",
    "Estimate",
    "bootstrap_estimate",
    "counted_summary",
    "k_corrected_moments",
    "k_maximum_likelihood",
    "k_moments",
    "k_zero_class",
    "lang_reiczigel",
    "log_likelihood_k",
    "mean_abundance",
    "mean_crowding",
    "mean_intensity",
    "occupancy",
    "paired_reduction",
    "poulin_d",
    "prevalence",
    "prevalence_bayes",
    "reduction",
    "rogan_gladen",
    "share_left",
    "standard_error_k",
    "variance_to_mean",
]
