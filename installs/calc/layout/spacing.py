"""As-built spacing against the controller's setting: what the difference does.

The controller divides its setting D' by the time Δt between two sensors that lie D
apart. With v = D/Δt the true speed, it records v' = D'/Δt, so that

    bias = v'/v − 1 = D'/D − 1,

and every axle spacing, being speed times the time between axles, carries the same bias.
A tape reading of D with standard uncertainty u gives the bias one of (D'/D²) u.

A loop of effective length l is covered for (L + l)/v by a vehicle of length L. The
controller records L' = v' (L + l)/v − l' = (1 + bias)(L + l) − l'.

The tolerances of ASTM E1318 are for single vehicles and 95 % of them. Held against
them here is the bias alone, the part that the setting is to blame for.
"""

from __future__ import annotations

import math

from installs.calc.layout.limits import (
    check_positive,
    interval_of,
    length_words,
    verdict_within,
)
from installs.calc.layout.types import (
    AxleSpacings,
    LengthCheck,
    SpacingCheck,
    SpacingEffect,
)
from wimprog.lib.errors import DomainError
from wimprog.lib.judgement import Interval, Judgement, Verdict
from wimprog.lib.units import (
    KMH_PER_MPH,
    M_PER_FT,
    Kind,
    UnitSystem,
    format_number,
    shown_unit,
)

#: ASTM E1318-09, table 1, all types: speed, axle spacing and wheelbase, as given in
#: each system of units (confirmed: FHWA Traffic Monitoring Guide 2022, table D-1).
E1318_SPEED_KMH = {UnitSystem.US: 1.0 * KMH_PER_MPH, UnitSystem.SI: 2.0}
E1318_SPACING_M = {UnitSystem.US: 0.5 * M_PER_FT, UnitSystem.SI: 0.15}
E1318_RULE = (
    "the bias alone, by its 95 % interval from the tape, against the tolerance of one "
    "vehicle (ASTM E1318-09, table 1)"
)
PLAN_RULE = "as built less planned, by its 95 % interval from the tape"

#: A tractor with semitrailer, 3-S2: 17, 4.3, 33 and 4.1 ft.
FIVE_AXLE_TRUCK = AxleSpacings(
    "five-axle tractor with semitrailer",
    (17.0 * M_PER_FT, 4.3 * M_PER_FT, 33.0 * M_PER_FT, 4.1 * M_PER_FT),
    "typical, from memory",
)

#: Standard deviation of one tape reading, the agency's own.
DEFAULT_TAPE_SD_M = 0.002
#: A bias beyond this is more likely a slip of units or of the sensor meant.
ODD_BIAS_PCT = 20.0


def setting_bias_pct(setting_m: float, as_built_m: float) -> float:
    """Bias of speed and axle spacing from a setting, in per cent.

    >>> round(setting_bias_pct(3.10, 3.00), 4)
    3.3333
    """
    check_positive("controller's setting", setting_m)
    check_positive("spacing as built", as_built_m)
    return 100.0 * (setting_m / as_built_m - 1.0)


def check_spacing(
    as_built_m: float,
    setting_m: float,
    *,
    speed_kmh: float,
    tape_sd_m: float = DEFAULT_TAPE_SD_M,
    n_readings: int = 1,
    vehicle: AxleSpacings = FIVE_AXLE_TRUCK,
    planned_m: float | None = None,
    tolerance_mm: float | None = None,
    setting_step_m: float = 0.01,
    system: UnitSystem = UnitSystem.SI,
) -> SpacingCheck:
    """What the difference between setting and as-built spacing does.

    Parameters
    ----------
    as_built_m
        Distance measured between like edges or centres of the two sensors [m]; the
        mean, when it was read more than once.
    setting_m
        Distance that the controller works with [m].
    speed_kmh
        Traffic speed at which the speed error is told [km/h].
    tape_sd_m, n_readings
        Standard deviation of one tape reading [m] and number of readings averaged.
    vehicle
        Whose axle spacings are told.
    planned_m, tolerance_mm
        Distance of the plan [m] and how far from it the agency allows [mm].
    setting_step_m
        Step in which the controller takes its setting [m].
    system
        Which figures of the standard hold, and the units of the sentences.

    Raises
    ------
    wimprog.lib.errors.DomainError
        When a size is not above zero, or when setting and spacing differ by so much
        that another unit or another pair of sensors must be meant.
    """
    bias_pct = setting_bias_pct(setting_m, as_built_m)
    check_positive("speed", speed_kmh, "km/h")
    check_positive("standard deviation of the tape", tape_sd_m)
    check_positive("step of the setting", setting_step_m)
    if n_readings < 1:
        raise DomainError("A distance needs at least one reading of the tape.")
    _check_plausible(bias_pct, as_built_m, setting_m, system)
    u_m = tape_sd_m / math.sqrt(n_readings)
    u_pct = 100.0 * setting_m / as_built_m**2 * u_m
    bias = interval_of(bias_pct, u_pct)
    speed_error = speed_kmh * bias_pct / 100.0
    speed_interval = _scaled(bias, speed_kmh / 100.0)
    effects = spacing_effects(bias_pct, bias, vehicle)
    new_setting = max(
        round(as_built_m / setting_step_m) * setting_step_m, setting_step_m
    )
    return SpacingCheck(
        as_built_m=as_built_m,
        setting_m=setting_m,
        bias_pct=bias_pct,
        bias_interval_pct=bias,
        speed_kmh=speed_kmh,
        speed_error_kmh=speed_error,
        speed_interval_kmh=speed_interval,
        effects=effects,
        speed=_judge_speed(speed_error, speed_interval, speed_kmh, n_readings, system),
        spacing=_judge_spacing(effects, vehicle, n_readings, system),
        against_plan=_judge_plan(
            as_built_m, planned_m, tolerance_mm, u_m, n_readings, system
        ),
        new_setting_m=new_setting,
        left_bias_pct=setting_bias_pct(new_setting, as_built_m),
    )


def spacing_effects(
    bias_pct: float, bias_interval_pct: Interval, vehicle: AxleSpacings
) -> tuple[SpacingEffect, ...]:
    """Error of each of a vehicle's spacings, then of its wheelbase."""
    named = [
        (f"axles {i}–{i + 1}", true)
        for i, true in enumerate(vehicle.spacings_m, start=1)
    ]
    named.append(("wheelbase", vehicle.wheelbase_m))
    return tuple(
        SpacingEffect(
            what,
            true,
            true * bias_pct / 100.0,
            _scaled(bias_interval_pct, true / 100.0),
        )
        for what, true in named
    )


def check_length(
    vehicle_length_m: float,
    *,
    bias_pct: float,
    loop_length_m: float,
    loop_setting_m: float,
    bias_u_pct: float = 0.0,
    loop_u_m: float = 0.0,
) -> LengthCheck:
    """Error of a vehicle's recorded length from the two settings that it rests on.

    Parameters
    ----------
    vehicle_length_m
        True length of the vehicle [m].
    bias_pct, bias_u_pct
        Bias of speed from the spacing's setting and its standard uncertainty [%].
    loop_length_m, loop_u_m
        Effective length of the loop along the lane and its standard uncertainty [m].
    loop_setting_m
        The loop length that the controller takes off [m].
    """
    check_positive("vehicle length", vehicle_length_m)
    check_positive("loop length", loop_length_m)
    check_positive("loop length set in the controller", loop_setting_m)
    covered = vehicle_length_m + loop_length_m
    from_spacing = covered * bias_pct / 100.0
    from_loop = loop_length_m - loop_setting_m
    error = from_spacing + from_loop
    u = math.hypot(covered * bias_u_pct / 100.0, (1.0 + bias_pct / 100.0) * loop_u_m)
    return LengthCheck(
        vehicle_length_m, error, interval_of(error, u), from_spacing, from_loop
    )


def _scaled(interval: Interval, factor: float) -> Interval:
    return Interval(interval.low * factor, interval.high * factor, interval.level)


def _check_plausible(
    bias_pct: float, as_built_m: float, setting_m: float, system: UnitSystem
) -> None:
    if abs(bias_pct) <= ODD_BIAS_PCT:
        return
    unit = shown_unit(Kind.LENGTH, system).symbol
    ratio = setting_m / as_built_m
    guess = ""
    for factor in (M_PER_FT, 12.0, 2.54, 100.0):
        if min(abs(ratio * factor - 1.0), abs(ratio / factor - 1.0)) < 0.1:
            guess = " Their ratio is that of two units of length: check both units."
    raise DomainError(
        f"A setting of {length_words(setting_m, unit)} for sensors "
        f"{length_words(as_built_m, unit)} apart would record every speed "
        f"{format_number(abs(bias_pct), 0)} % too {'high' if bias_pct > 0 else 'low'}; "
        f"no controller works so.{guess or ' Check which two sensors are meant.'}"
    )


# --- judgements --------------------------------------------------------------------


def _judge_speed(
    error_kmh: float,
    interval_kmh: Interval,
    speed_kmh: float,
    n_readings: int,
    system: UnitSystem,
) -> Judgement:
    unit = shown_unit(Kind.SPEED, system)
    limit_kmh = E1318_SPEED_KMH[system]
    verdict = verdict_within(interval_kmh, limit_kmh)
    return _judgement(
        quantity="speed bias from the spacing setting",
        value=unit.from_si(error_kmh),
        interval=_scaled(interval_kmh, 1.0 / unit.factor),
        limit=unit.from_si(limit_kmh),
        unit=unit.symbol,
        digits=2,
        n=n_readings,
        verdict=verdict,
        rule=E1318_RULE,
        standing="confirmed",
        at=f" at {format_number(unit.from_si(speed_kmh), 0)} {unit.symbol}",
    )


def _judge_spacing(
    effects: tuple[SpacingEffect, ...],
    vehicle: AxleSpacings,
    n_readings: int,
    system: UnitSystem,
) -> Judgement:
    """The longest of the distances decides, for the bias is the same in all."""
    unit = shown_unit(Kind.LENGTH, system)
    worst = max(effects, key=lambda effect: effect.true_m)
    limit_m = E1318_SPACING_M[system]
    verdict = verdict_within(worst.interval_m, limit_m)
    told = format_number(unit.from_si(worst.true_m), unit.digits)
    return _judgement(
        quantity="axle spacing bias from the spacing setting",
        value=unit.from_si(worst.error_m),
        interval=_scaled(worst.interval_m, 1.0 / unit.factor),
        limit=unit.from_si(limit_m),
        unit=unit.symbol,
        digits=3,
        n=n_readings,
        verdict=verdict,
        rule=E1318_RULE,
        standing="confirmed",
        at=f" over the {worst.what} of {told} {unit.symbol} of a {vehicle.name}",
    )


def _judge_plan(
    as_built_m: float,
    planned_m: float | None,
    tolerance_mm: float | None,
    u_m: float,
    n_readings: int,
    system: UnitSystem,
) -> Judgement | None:
    if planned_m is None or tolerance_mm is None:
        return None
    check_positive("planned spacing", planned_m)
    check_positive("tolerance of the spacing", tolerance_mm, "mm")
    short = shown_unit(Kind.SHORT_LENGTH, system)
    off = short.from_si(1000.0 * (as_built_m - planned_m))
    interval = interval_of(off, short.from_si(1000.0 * u_m))
    limit = short.from_si(tolerance_mm)
    return _judgement(
        quantity="spacing as built less planned",
        value=off,
        interval=interval,
        limit=limit,
        unit=short.symbol,
        digits=1 if short.symbol == "mm" else 2,
        n=n_readings,
        verdict=verdict_within(interval, limit),
        rule=PLAN_RULE,
        standing="agency's own",
        at="",
    )


def _judgement(
    *,
    quantity: str,
    value: float,
    interval: Interval,
    limit: float,
    unit: str,
    digits: int,
    n: int,
    verdict: Verdict,
    rule: str,
    standing: str,
    at: str,
) -> Judgement:
    told, low, high = (
        format_number(x, digits) for x in (value, interval.low, interval.high)
    )
    words = f"within ±{limit:.4g} {unit}"
    why = (
        " (the interval lies across the limit; measure again, and more than once)"
        if verdict is Verdict.CANNOT_SAY
        else ""
    )
    return Judgement(
        quantity=quantity,
        value=value,
        unit=unit,
        n=n,
        interval=interval,
        rule=rule,
        limit=words,
        verdict=verdict,
        sentence=(
            f"{quantity[:1].upper()}{quantity[1:]}{at}: {told} {unit} (95 % interval "
            f"{low} to {high} {unit}, {n} reading{'' if n == 1 else 's'}); {words}: "
            f"{verdict}{why}."
        ),
        standing=standing,
    )
