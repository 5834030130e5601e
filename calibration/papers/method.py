"""The method appendix: what was computed, in words, with its sources."""

from __future__ import annotations

from calibration.calc.axle_groups import GROUP_LIMIT_M
from wimprog.lib.units import Kind, UnitSystem, format_si

SIGNED = (
    "Runs of a closed session stay as they are: no screen and no import changes them. "
    "Its head, its factors, the static weighings that it rests on and the agency’s own "
    "values of a standard can still be corrected, each with who, when and why. A "
    "signature keeps what was true when it was given, with a SHA-256 fingerprint over "
    "it; this paper says of each whether it still agrees, and what has changed if not."
)


def method_of(system: UnitSystem, versions: str) -> list[list[str]]:
    """Headings and text, in the order of the computing."""
    group = format_si(GROUP_LIMIT_M, Kind.LENGTH, system, digits=2)
    return [
        [
            "Errors",
            "The error of a weight is 100 (C − R) / R per cent, C the lane’s value and "
            "R the static reference; errors of speed and of lengths are C − R in their "
            "own unit (ASTM E1318-09, section 7; from memory). Gross weight is the sum "
            f"of the axles. Neighbouring axles not more than {group} apart make a "
            "group; a group’s weight is the sum of its axles, of the reference "
            "vehicle’s layout. Runs set aside are listed with their reason and never "
            "computed with.",
        ],
        [
            "Reference",
            "Each run is held against the static weighing that it names, less the fuel "
            "burnt since where a rate is known, taken off every axle in proportion to "
            "its load. The uncertainty of a reference combines the spread of repeated "
            "readings, the scale’s step and its certificate in quadrature (JCGM "
            "100:2008, 5.1.2); what all vehicles share by one scale does not fall with "
            "the number of vehicles.",
        ],
        [
            "Mean and spread",
            "Mean m and standard deviation s (divisor n − 1) of the n errors. Interval "
            "of the mean: m ± t · s / √n, t Student’s two-sided 95 % quantile for n − "
            "1 degrees of freedom (NIST/SEMATECH e-Handbook 1.3.5.2). Interval of "
            "single passes: m ± t · s (field validation of the long-term pavement "
            "performance program; from memory). Both speak for these trucks only: a "
            "truck has an error of its own that more runs of it do not average away.",
        ],
        [
            "With the reference’s uncertainty",
            "m ± t · √(s² / n + u²), u the standard uncertainty that the static "
            "weights add to the mean, t with Welch and Satterthwaite’s effective "
            "degrees of freedom (JCGM 100:2008, G.4).",
        ],
        [
            "Share within a tolerance",
            "Errors on the limit are within. Exact binomial interval (Clopper and "
            "Pearson; NIST/SEMATECH e-Handbook 7.2.4.1). Two trucks are compared by "
            "Welch’s t.",
        ],
        [
            "Outliers and effects",
            "The generalised extreme Studentized deviate test at 5 % (Rosner 1983; "
            "NIST/SEMATECH e-Handbook 1.3.5.17.3) flags errors that stand out; it sets "
            "nothing aside. Speed, temperature and place in the lane are fitted by "
            "least squares beside each vehicle’s own level; a term is shown where "
            "leaving it out is refused by the F test at 5 %.",
        ],
        [
            "Factor",
            "New factor = factor in use × Σ static / Σ measured gross weight, runs "
            "weighted by what their vehicle’s static weight is worth; standard error "
            "of a ratio estimator (Cochran 1977, 6.4; from memory), the static "
            "weights’ uncertainty added. Predicted errors are those of each run under "
            "the factor of all other runs. A change whose interval holds “no change” "
            "is left alone. As found and as left are compared by Welch’s t.",
        ],
        [
            "Standards",
            "Each verdict above names its rule, its limit and the limit’s standing. "
            "“From memory” means that no copy of the document was at hand when the "
            "value was written down; “agency’s own” names where the agency took it.",
        ],
        [
            "What the intervals and verdicts are worth",
            "How often each interval covers and each verdict passes a system of known "
            "quality was measured by simulation under stated populations; the tables "
            "are in the program’s documents MEASURED.md and MEASURED_BIAS.md.",
        ],
        ["Signatures", SIGNED],
        ["Versions", versions],
    ]
