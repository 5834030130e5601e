"""Published life data: what was printed, once, for the checks that use it."""

from __future__ import annotations

from collections.abc import Iterable

from installs.calc.types import Life


def lives(failed: Iterable[float], censored: Iterable[float] = ()) -> list[Life]:
    """Lives from exact failure ages and ages still working."""
    return [
        *(Life(age, failed=True) for age in failed),
        *(Life(age, failed=False) for age in censored),
    ]


# Freireich et al., Blood 21 (1963) 699-716, 6-mercaptopurine arm, weeks in remission;
# reprinted in most textbooks of survival analysis.
SIX_MP = lives(
    [6, 6, 6, 7, 10, 13, 16, 22, 23],
    [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35],
)
SIX_MP_CONTROL = lives(
    [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
)

# NIST/SEMATECH e-Handbook 8.4.1.3: 20 units on test for 500 hours.
NIST_HOURS = lives([54, 187, 216, 240, 244, 335, 361, 373, 375, 386], [500] * 10)

# Shock absorbers, km: O'Connor, Practical Reliability Engineering (1985), as used by
# Meeker & Escobar, Statistical Methods for Reliability Data (1998), table C.2.
SHOCK_MODE_1_KM = [6700, 12200, 14300, 17520, 22700, 26510, 27490]
SHOCK_MODE_2_KM = [9120, 13150, 20100, 20900]
# fmt: off
SHOCK_WORKING_KM = [
    6950, 7820, 8790, 9660, 9820, 11310, 11690, 11850, 11880, 12140, 12870, 13330,
    13470, 14040, 17540, 17890, 18450, 18960, 18980, 19410, 20100, 20150, 20320, 23490,
    27410, 27890, 28100,
]

# Diesel generator fans, hours: Nelson, Applied Life Data Analysis (1982), table 1.1 of
# chapter 4; hours: number still running.
FAN_FAILED_HOURS = [
    450, 1150, 1150, 1600, 2070, 2070, 2080, 3100, 3450, 4600, 6100, 8750,
]
FAN_RUNNING_HOURS = {
    460: 1, 1560: 1, 1660: 1, 1850: 5, 2030: 3, 2200: 1, 3000: 4, 3200: 1, 3750: 2,
    4150: 4, 4300: 4, 4850: 4, 5000: 3, 6100: 3, 6300: 1, 6450: 2, 6700: 1, 7450: 1,
    7800: 2, 8100: 2, 8200: 1, 8500: 3, 8750: 2, 9400: 1, 9900: 1, 10100: 3, 11500: 1,
}

# Teaching set of the State University of New York, as reprinted with its Weibull fit.
SUNY_FAILED = [3, 5, 8, 15, 22, 23, 29, 32, 35, 40, 26, 28, 21]
SUNY_WORKING = [6, 10, 11, 20, 27, 33, 24]

# Time to cosmetic deterioration, months, radiotherapy alone: Finkelstein & Wolfe,
# Biometrics 41 (1985) 933-945 (from memory).
COSMESIS_BRACKETS = [
    (0, 7), (0, 8), (0, 5), (4, 11), (5, 12), (5, 11), (6, 10), (7, 16), (7, 14),
    (11, 15), (11, 18), (17, 25), (17, 25), (19, 35), (18, 26), (25, 37), (26, 40),
    (27, 34), (36, 44), (36, 48), (37, 44),
]
COSMESIS_CENSORED = [
    15, 17, 18, 22, 24, 24, 32, 33, 34, 36, 36, 37, 37, 37, 38, 40, 45, *[46] * 8,
]

# Valve seats of 41 diesel engines, days of replacement and of last inspection: Nelson,
# Journal of Quality Technology 27 (1995) 147-157 (from memory; 48 replacements).
VALVE_SEATS = [
    ((), 761), ((), 759), ((98,), 667), ((326, 653, 653), 667), ((), 665), ((84,), 667),
    ((87,), 663), ((646,), 653), ((92,), 653), ((), 651), ((258, 328, 377, 621), 650),
    ((61, 539), 648), ((254, 276, 298, 640), 644), ((76, 538), 642), ((635,), 641),
    ((349, 404, 561), 649), ((), 631), ((), 596), ((120, 479), 614), ((323, 449), 582),
    ((139, 139), 589), ((), 593), ((573,), 589), ((165, 408, 604), 606), ((249,), 594),
    ((344, 497), 613), ((265, 586), 595), ((166, 206, 348), 389), ((), 601),
    ((410, 581), 601), ((), 611), ((), 608), ((), 587), ((367,), 603),
    ((202, 563, 570), 585), ((), 587), ((), 578), ((), 578), ((), 586), ((), 585),
    ((), 582),
]
# fmt: on
