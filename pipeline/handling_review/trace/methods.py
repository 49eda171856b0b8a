"""Methods that are no one-line formula, and limits that need one: what each does, and where it is described.

Sources marked "details from memory" were not at hand when they were written down.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Method:
    """One method. ``is_fit``: the number comes out of a fit, a search or a simulation, not out of one line."""

    words: str
    source: str
    is_fit: bool = True


_MEMORY = " (details from memory)"
_EVERY_RUN = "The draws are the same in every run, so the number is too."

METHODS = {
    "restated": Method(
        "The accepted rows of the last review and of this one are compared by content; each change has a place before "
        "and after, and a number's reasons are the changes whose places differ in it.",
        "The rows of both reviews are kept in snapshots/; DEVELOPERS.md, Last review and snapshots.",
        is_fit=False,
    ),
    "exact": Method(
        "Exact Poisson limits of the count (Garwood), times 200,000 / hours. Hours are taken as known without error.",
        "Garwood 1936, Biometrika 28:437-442.",
        is_fit=False,
    ),
    "one_sided": Method(
        "One-sided exact upper limit: a higher true rate would give so few cases less often than 1 - confidence.",
        f"Garwood 1936; Hanley & Lippman-Hand 1983, JAMA 249:1743-1745{_MEMORY}.",
        is_fit=False,
    ),
    "mid_p": Method(
        "Given all cases of both sides, those of the one side are binomial; the limit is the ratio at which half of "
        "the probability of what was seen, and all beyond it, make up half of 1 - confidence (mid-P).",
        "Rothman & Greenland, Modern Epidemiology, ch. 14; Fay 2010, R Journal 2(1):53-58.",
    ),
    "mover": Method(
        "Each rate gets its own mid-P limits; their distances from the rates are put together as the sides of a right "
        "triangle are (MOVER).",
        f"Donner & Zou 2012, Stat Methods Med Res 21:347-359; Lancaster 1961, JASA 56:223-234 (mid-P){_MEMORY}.",
    ),
    "turning": Method(
        "The ratio and its mid-P limits are worked out for every number of cases after training, hours and cases "
        "before as they are, until the answer changes.",
        "A search with the method of the ratio: Rothman & Greenland, Modern Epidemiology, ch. 14.",
    ),
    "bonferroni": Method(
        "Mid-P limits of the ratio at the level 1 - (1 - confidence) / units compared (Bonferroni), so that many units "
        "do not bring many false alarms.",
        f"Fay 2010, R Journal 2(1):53-58; Dunn 1961, JASA 56:52-64{_MEMORY}.",
    ),
    "ratio_of_ratios": Method(
        "Limits and p-value from the distribution of the cases given all four margins of the table of kind and side "
        "(conditional, mid-P); the hours cancel.",
        f"Lipsitch, Tchetgen Tchetgen & Cohen 2010, Epidemiology 21:383-388; Fisher 1935{_MEMORY}.",
    ),
    "difference_in_differences": Method(
        "The change of the units with the program over the change of the comparison units; limits and p-value from the "
        "conditional distribution of the four counts (mid-P).",
        "Angrist & Pischke 2009, Mostly Harmless Econometrics, ch. 5; Breslow & Day 1987, vol. II, ch. 4.",
    ),
    "mantel_haenszel": Method(
        "One ratio common to all units and quarters that hold both trained and not yet trained hours, each compared "
        "only within itself (Mantel-Haenszel; with fewer than five cases on a side the conditional mid-P ratio).",
        "Rothman & Greenland, Modern Epidemiology, ch. 15; Breslow & Day 1987, vol. II.",
    ),
    "interrupted": Method(
        "Poisson regression of the quarters on time, the step at the start and the change of slope, with log hours as "
        "offset; errors widened by the dispersion.",
        "Wagner et al. 2002, J Clin Pharm Ther 27:299-309; McCullagh & Nelder 1989, Generalized Linear Models, ch. 6.",
    ),
    "newey_west": Method(
        "The same regression, with errors that allow neighbouring quarters to be alike.",
        "Newey & West 1987, Econometrica 55:703-708.",
    ),
    "adjusted": Method(
        "Poisson regression of unit quarters with an effect for each unit, a steady yearly change, and started or not; "
        "log hours as offset, errors widened by the dispersion.",
        "McCullagh & Nelder 1989, Generalized Linear Models, ch. 6.",
    ),
    "staggered": Method(
        "Poisson regression of unit quarters with an effect for each unit and each calendar quarter, and started or "
        "not; log hours as offset, errors widened by the dispersion.",
        "McCullagh & Nelder 1989, Generalized Linear Models, ch. 6; Angrist & Pischke 2009, ch. 5.",
    ),
    "negative_binomial": Method(
        "The same regression with negative binomial errors, which allow cases to come in clusters; where there is no "
        "spread beyond chance it is the plain one.",
        "Cameron & Trivedi 2013, Regression Analysis of Count Data, ch. 3.",
    ),
    "trend": Method(
        "The ratio of the rate from one band of time since training to the next, from the exact conditional "
        "distribution of the cases over the bands given their hours.",
        "Breslow & Day 1987, vol. II, ch. 3 (trend over ordered groups).",
    ),
    "bad_spell": Method(
        "The rates of all units before the first start are weighed against their spread (empirical Bayes); the weighed "
        "rate of the early units over their recorded one is what would come by itself.",
        "Gaver & O'Muircheartaigh 1987, Technometrics 29:1-15.",
    ),
    "smallest_fall": Method(
        "The smallest fall that the leading comparison would find four times in five: 1 - exp(-z x error), z the "
        "normal values of the level and of 80 %, the error that of the logarithm of the ratio expected from hours and "
        "the total of cases alone. For before and after it is searched with the exact power.",
        "Power of a comparison of two rates, as in Breslow & Day 1987, vol. II, ch. 7.",
    ),
    "power": Method(
        "Searched with the exact power of the mid-P test of two rates at 80 %: how much is needed to find the target.",
        "Power of a comparison of two rates, as in Breslow & Day 1987, vol. II, ch. 7.",
    ),
    "target_met": Method(
        "Each rate gets a gamma distribution (Jeffreys' prior, shape 1/2); the share of the one in both is beta, and "
        "one incomplete beta function gives the chance that the true fall is at least the target.",
        "Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 2.",
    ),
    "control_limits": Method(
        "Exact Poisson control limits around the centre line: counts beyond them come less than 0.00135 of the time on "
        "either side (3 sigma).",
        "Montgomery, Introduction to Statistical Quality Control (u-chart).",
        is_fit=False,
    ),
    "laney": Method(
        "Centre plus or minus three standard errors, widened by the spread of the baseline beyond chance (large "
        "counts).",
        "Laney 2002, Quality Engineering 14:531-537.",
    ),
    "nelson": Method(
        "Days to the power 1 / 3.6 are nearly normal; centre and limits are set there from the mean moving range and "
        "turned back into days.",
        "Nelson 1994, J Qual Technol 26:229-230.",
        is_fit=False,
    ),
    "false_signals": Method(
        "1,000 series drawn from one steady rate on these hours, the centre line drawn too; how often any of the "
        f"three rules speaks. {_EVERY_RUN}",
        "A simulation of this program (evidence/watch.py).",
    ),
    "cusum": Method(
        "Running sum of cases over what is allowed, never below 0; tuned to a doubling: the usual rate / ln 2 is "
        "allowed.",
        "Lucas 1985, Technometrics 27:129-144.",
        is_fit=False,
    ),
    "cusum_lengths": Method(
        "Average months to a warning, from a Markov chain of the running sum with the mean hours of a month; the "
        "threshold is the lowest one that keeps false warnings as rare as asked.",
        "Brook & Evans 1972, Biometrika 59:539-549; Lucas 1985, Technometrics 27:129-144.",
    ),
    "weighed": Method(
        "Empirical Bayes: true rates of units follow a gamma distribution fitted to all units (marginal likelihood), "
        "and each unit's own record is weighed against it. The rate is the mean; a central limit that the mean lies "
        "beyond, as with very few cases, is drawn out to it.",
        "Gaver & O'Muircheartaigh 1987, Technometrics 29:1-15.",
    ),
    "benjamini_hochberg": Method(
        "P-values of each unit against the rest (mid-P), adjusted for the number of units (Benjamini-Hochberg).",
        "Benjamini & Hochberg 1995, J R Stat Soc B 57:289-300.",
    ),
    "same_rate": Method(
        "Deviance test that all units have one rate, against the chi-squared distribution.",
        "McCullagh & Nelder 1989, Generalized Linear Models, ch. 6.",
    ),
    "funnel": Method(
        "Poisson limits around the facility's rate for the hours of this unit, interpolated between counts; widened by "
        "the spread of the units only with ten units or more that spread beyond chance.",
        "Spiegelhalter 2005, Stat Med 24:1185-1202.",
    ),
    "dispersion": Method(
        "Mean of the squared distances of the units' rates from the facility's, in units of what chance gives, the "
        "outermost tenth on either side drawn in (winsorised).",
        "Spiegelhalter 2005, Stat Med 24:1185-1202.",
    ),
    "compound": Method(
        f"10,000 samples in which the number of cases is Poisson and each case's days are drawn from those seen; the "
        f"middle share of the samples lies between the limits. {_EVERY_RUN}",
        f"Efron & Tibshirani 1993, An Introduction to the Bootstrap{_MEMORY}.",
    ),
    "wilson": Method(
        "Score limits of a share (Wilson).",
        "Wilson 1927, JASA 22:209-212; method 3 of Newcombe 1998, Stat Med 17:857-872.",
        is_fit=False,
    ),
    "newcombe": Method(
        "The limits of the two shares put together as the sides of a right triangle are (Newcombe).",
        "Method 10 of Newcombe 1998, Stat Med 17:873-890.",
        is_fit=False,
    ),
    "quantile": Method(
        "The days are put in order; the median is the first that half of the cases do not exceed, the ninetieth the "
        "first that nine tenths do not exceed. The days of single cases are not printed.",
        "Hyndman & Fan 1996, Am Stat 50:361-365 (definition 1).",
    ),
    "late": Method(
        "The facility's own reporting lag, seen in reverse time because long lags show only later, says which share "
        "of a "
        "quarter's cases is in the log by now; limits from 4,000 draws of curve and cases. " + _EVERY_RUN,
        f"Kalbfleisch & Lawless 1989, JASA 84:360-372; Lawless 1994, Can J Stat 22:15-31{_MEMORY}.",
    ),
    "repeats": Method(
        "The cases are thrown on people 2,000 times by their hours and the rates of the units they worked on; people "
        f"with two or more are counted each time. {_EVERY_RUN}",
        "A simulation of this program (evidence/who.py).",
    ),
    "claims": Method(
        "The claims are drawn again with replacement 20,000 times; the middle share of the means lies between the "
        f"limits. {_EVERY_RUN} What single claims cost is not printed.",
        f"Efron & Tibshirani 1993, An Introduction to the Bootstrap{_MEMORY}.",
    ),
    "worth": Method(
        "20,000 draws: the ratio (or both rates) and the cost of a case are drawn with their doubt, and cases avoided "
        f"x cost worked out each time. {_EVERY_RUN}",
        f"Briggs, Claxton & Sculpher 2006, Decision Modelling for Health Economic Evaluation, ch. 4{_MEMORY}.",
    ),
    "proposal": Method(
        "20,000 draws: cases addressed (gamma), effect (triangular between low and high) and cost of a case are "
        f"drawn, and the result worked out each time. {_EVERY_RUN}",
        f"Briggs, Claxton & Sculpher 2006, Decision Modelling for Health Economic Evaluation, ch. 4{_MEMORY}.",
    ),
    "all_claims_low": Method(
        "With the low ends of cases addressed, effect and cost of a case all at once (or the high ends); the ends of "
        "the cost are those of its draws where it comes from own claims.",
        f"Briggs, Claxton & Sculpher 2006, ch. 3 (one-way and extreme-case sensitivity){_MEMORY}.",
    ),
    "payback": Method(
        "Savings less service are brought to the present year by year and added up until they make up the outlay, "
        "running evenly within each year; no limit if they never do within the life.",
        "Any finance text (discounted payback).",
        is_fit=False,
    ),
    "best_set": Method(
        "Every set of proposals whose outlay fits the budget is looked at; the one with the most is kept.",
        "Full enumeration: no approximation.",
    ),
    "study": Method(
        "Read from the simulation study that is shipped with the program: made-up facilities with known truth.",
        "tests/bench/DESIGNS.md and tests/bench/WATCHING.md of the project.",
    ),
    "bounds": Method(
        "The ratio with every undecided or unusable record counted for the program, then against it; mid-P limits.",
        f"Manski 1990, Am Econ Rev 80:319-323{_MEMORY}.",
    ),
}
