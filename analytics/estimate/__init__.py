"""Statistics of failures and lives: arrays in, a frozen result out; no files, no drawing, no clock.

Which interval is this?

| figure | interval | module |
| --- | --- | --- |
| MTBF, failure rate | exact Poisson (chi-square); wider where locomotives differ | `rate` |
| shape of the power law, trend tests | exact chi-square or profile, per docstring | `trend` |
| a share, so many of so many | exact (Clopper-Pearson), or score (Wilson) | `share` |
| mean cumulative function | robust variance by locomotive, pointwise | `recurrent` |
| recurrence within a window | Kaplan-Meier clustered by locomotive | `recurrence` |
| survival curve | log-log with Greenwood's or a clustered variance, pointwise | `survival` |
| survival before the first failure | exact one-sided bound from the number at risk | `survival` |
| median read off a curve | the curve's own bounds read at one half | `survival` |
| Nelson-Aalen cumulative hazard | log-transformed, pointwise | `survival` |
| survival from inspections (Turnbull) | bootstrap of locomotives, approximate | `turnbull` |
| shape, B10, median, mean of a fitted life | profile likelihood | `lives`, `life_batch` |
| hazard, chance of living on, of a fitted life | profile likelihood | `life_hazard` |
| difference of two cumulative functions | as above, by locomotive | `cumulative_contrast` |
| difference of two recurrence rates | both variances added | `recurrence_difference` |
| ratio of two groups of lives | Wald on its logarithm, variance by locomotive | `group_ratio` |
| cumulative incidence of competing kinds | log-log with the delta-method variance | `competing` |

Every level is two-sided unless a docstring says one-sided. A bound that does not exist is NaN with
a `note` (a message key), never an infinity and never the number an optimiser happened to stop at.
Ages and exposures are in the unit of the clock handed in; at risk at age a means entry < a <= exit.
"""
