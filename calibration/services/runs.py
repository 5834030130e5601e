"""Truck runs: added many at once, set aside with a reason, taken back."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.core.exceptions import ValidationError
from django.db import transaction
from simple_history.utils import bulk_create_with_history

from calibration.calc.run_checks import run_complaints
from calibration.calc.wheel_loads import run_wheel_complaints
from calibration.models import CalibrationSession, SessionState, TruckRun
from calibration.selectors import as_measured_run, reference_of_run
from calibration.services.questions import questions
from calibration.services.results import results_refresh
from wimprog.lib.errors import Complaint, DomainError
from wimprog.lib.models import save_with_reason

BATCH = 200


def refuse_if_closed(session: CalibrationSession) -> None:
    """A closed session keeps what it has.

    Raises
    ------
    DomainError
        When the session is closed.
    """
    if session.state == SessionState.CLOSED:
        raise DomainError(
            f"The session of {session.held_on} on {session.lane} is closed, so its "
            "runs stay as they are. Open a new session for new runs."
        )


@transaction.atomic
def runs_add(
    *,
    session: CalibrationSession,
    runs: Iterable[TruckRun],
    by: Any,
    why: str,
    units_are_right: bool = False,
    refresh: bool = True,
) -> list[TruckRun]:
    """Add runs, all or none, and compute the session's results anew.

    Parameters
    ----------
    runs
        Unsaved runs with their ``weighing`` (and its ``vehicle``) set; a run without
        a number gets the next free one.
    units_are_right
        Take runs that were questioned (pounds for kilograms, axles from rear to front,
        a truck that is back too soon); the figures are right as they are.
    refresh
        False leaves the results to the caller, who adds more.

    Raises
    ------
    DomainError
        When the session is closed, or with a complaint for every fault of every run.
    """
    locked = CalibrationSession.objects.select_for_update().get(pk=session.pk)
    refuse_if_closed(locked)
    runs = list(runs)
    there = list(session.runs.select_related("weighing"))
    _number(runs, there)
    for run in runs:
        run.session = session
    complaints = [
        *_copies(runs, there),
        *(one for run in runs for one in run_faults(run)),
    ]
    if not complaints and not units_are_right:
        complaints = questions(runs, there)
    if complaints:
        n = len(complaints)
        raise DomainError(
            f"No run was added: {n} {'fault' if n == 1 else 'faults'} to mend first.",
            tuple(complaints),
        )
    made = bulk_create_with_history(
        runs,
        TruckRun,
        batch_size=BATCH,
        default_user=by,
        default_change_reason=why or "runs added",
    )
    if refresh:
        results_refresh(session)
    return list(made)


def _number(runs: Sequence[TruckRun], there: Sequence[TruckRun]) -> None:
    taken = [run.number for run in (*there, *runs) if run.number is not None]
    free = max(taken, default=0) + 1
    for run in runs:
        if run.number is None:
            run.number, free = free, free + 1


def _copies(runs: Sequence[TruckRun], there: Sequence[TruckRun]) -> list[Complaint]:
    numbers = {run.number for run in there}
    passes = {(run.weighing.vehicle_id, run.run_at): run.number for run in there}
    complaints = []
    for run in runs:
        one_pass = (run.weighing.vehicle_id, run.run_at)
        if run.number in numbers:
            complaints.append(
                Complaint(
                    f"Run number {run.number} is already taken in this session.",
                    field="number",
                    value=str(run.number),
                    expected="a number of its own for every run",
                    remedy="Give it the next free number, or leave out the copy.",
                )
            )
        elif one_pass in passes:
            complaints.append(
                Complaint(
                    f"Run {run.number} is the same vehicle at the same time as run "
                    f"{passes[one_pass]}.",
                    field="time",
                    value=f"{run.run_at:%Y-%m-%d %H:%M:%S} UTC",
                    expected="each pass once",
                    remedy="Leave out the copy, or correct its time.",
                )
            )
        numbers.add(run.number)
        passes.setdefault(one_pass, run.number)
    return complaints


def field_words(name: str) -> str:
    """What people call a field of a run."""
    field = TruckRun._meta.get_field(name)
    return str(getattr(field, "verbose_name", name))


def run_faults(run: TruckRun) -> list[Complaint]:
    """What is wrong with one run, without asking the database."""
    complaints = []
    try:
        run.clean_fields(exclude=["session", "weighing"])
    except ValidationError as error:
        for name, messages in error.message_dict.items():
            value = getattr(run, name, "")
            complaints += [
                Complaint(
                    f"Run {run.number}: {message}",
                    field=field_words(name),
                    value=str(value),
                    remedy="Correct it, or set the run aside with the reason.",
                )
                for message in messages
            ]
    if complaints:
        return complaints
    measured = as_measured_run(run)
    return [
        *run_complaints(measured, [reference_of_run(run)]),
        *run_wheel_complaints(measured),
    ]


@transaction.atomic
def run_change(
    *, run: TruckRun, by: Any, why: str, units_are_right: bool = False
) -> TruckRun:
    """Keep what was corrected in a run, and compute the results anew.

    Raises
    ------
    DomainError
        When the session is closed, no reason is given, or with a complaint for every
        fault.
    """
    session = CalibrationSession.objects.select_for_update().get(pk=run.session_id)
    refuse_if_closed(session)
    if not why.strip():
        raise DomainError(
            "A run that was recorded is corrected with a reason. Say what was wrong."
        )
    others = list(session.runs.select_related("weighing").exclude(pk=run.pk))
    complaints = [*_copies([run], others), *run_faults(run)]
    if not complaints and not units_are_right:
        complaints = questions([run], others)
    if complaints:
        raise DomainError("The run was not changed.", tuple(complaints))
    save_with_reason(run, by=by, why=why)
    results_refresh(run.session)
    return run


@transaction.atomic
def run_set_aside(*, run: TruckRun, reason: str, by: Any) -> TruckRun:
    """Leave a run out of the computing, with the reason; nothing is deleted.

    Raises
    ------
    DomainError
        Without a reason, or when the session is closed.
    """
    refuse_if_closed(run.session)
    if not reason.strip():
        raise DomainError(
            "A run is set aside with a reason. Say what was wrong with it, such as "
            "“braked on the sensor”."
        )
    run.excluded = True
    run.exclusion_reason = reason.strip()
    save_with_reason(run, by=by, why=f"set aside: {run.exclusion_reason}")
    results_refresh(run.session)
    return run


@transaction.atomic
def run_restore(*, run: TruckRun, by: Any, why: str = "") -> TruckRun:
    """Take a run back into the computing."""
    refuse_if_closed(run.session)
    run.excluded = False
    run.exclusion_reason = ""
    save_with_reason(run, by=by, why=why or "taken back in")
    results_refresh(run.session)
    return run
