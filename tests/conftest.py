"""The cast and a small world that tests share."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from django.contrib.auth.models import Group, User
from django.test import Client

from installs.models import Installation
from sites.models import Lane, Program, Site
from tests import factories

TODAY = dt.date(2024, 6, 1)
PASSWORD = "roadside-tests-only"


def _user(name: str, group: str | None) -> User:
    user = User.objects.create_user(name, password=PASSWORD)
    if group is not None:
        user.groups.add(Group.objects.get(name=group))
    return user


@pytest.fixture
def manager(db: None) -> User:
    """The program manager."""
    return _user("manager", "program manager")


@pytest.fixture
def technician(db: None) -> User:
    """Somebody who works at the roadside."""
    return _user("technician", "technician")


@pytest.fixture
def analyst(db: None) -> User:
    """Somebody who works on the records."""
    return _user("analyst", "analyst")


@pytest.fixture
def guest(db: None) -> User:
    """Somebody who may look and nothing else."""
    return _user("guest", "guest")


@pytest.fixture
def outsider(db: None) -> User:
    """Somebody with an account and no group."""
    return _user("outsider", None)


@pytest.fixture
def client_for() -> Callable[[User], Client]:
    """A browser in which a user has signed in."""

    def sign_in(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return sign_in


@pytest.fixture
def program(db: None) -> Program:
    """The invented agency's settings (US customary units)."""
    return factories.ProgramFactory.create()


@pytest.fixture
def held_clock(settings: Any) -> dt.date:
    """Hold the program's clock at :data:`TODAY`."""
    settings.AS_OF = TODAY.isoformat()
    return TODAY


@dataclass(frozen=True)
class World:
    """One site, two lanes; each has a live sensor, the first one a dead one too."""

    wim_site: Site
    lanes: tuple[Lane, Lane]
    live: tuple[Installation, Installation]
    failed: Installation


@pytest.fixture
def world(program: Program, held_clock: dt.date) -> World:
    """A small world, with the clock held."""
    wim_site = factories.SiteFactory.create(code="OV-014", station_id="000014")
    one = factories.LaneFactory.create(wim_site=wim_site, number=1)
    two = factories.LaneFactory.create(wim_site=wim_site, number=2)
    failed = factories.InstallationFactory.create(
        lane=one,
        position="piezo 1",
        installed_on=dt.date(2018, 6, 1),
        ended_on=dt.date(2021, 6, 1),
        end_reason="failed",
        failure_mode="splice",
    )
    live = (
        factories.InstallationFactory.create(
            lane=one, position="piezo 1", installed_on=dt.date(2021, 6, 15)
        ),
        factories.InstallationFactory.create(
            lane=two, position="piezo 1", installed_on=dt.date(2020, 6, 1)
        ),
    )
    return World(wim_site=wim_site, lanes=(one, two), live=live, failed=failed)
