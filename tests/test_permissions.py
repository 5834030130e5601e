"""Who may open and who may write: every address, for each of the cast.

The first test reads the addresses themselves, so a new one cannot be forgotten.
"""

import pytest
from django.urls import URLPattern, URLResolver, get_resolver, reverse

OPEN_TO_ALL = {"home", "healthz", "login", "logout", "roadside-worker"}


def our_patterns(resolver=None, prefix=""):
    resolver = resolver or get_resolver()
    for entry in resolver.url_patterns:
        if isinstance(entry, URLResolver):
            if entry.app_name == "admin":
                continue
            label = f"{entry.app_name}:" if entry.app_name else prefix
            yield from our_patterns(entry, label)
        elif isinstance(entry, URLPattern):
            yield f"{prefix}{entry.name}", entry.callback


PATTERNS = dict(our_patterns())

# What each view asks for decides who gets in; these are the writes of the thread.
WRITES = {
    "sites.change_program": {"manager"},
    "sites.add_site": {"manager"},
    "sites.change_site": {"manager"},
    "sites.add_lane": {"manager"},
    "sites.change_lane": {"manager"},
    "sites.add_sitesurvey": {"manager", "technician"},
    "sites.change_sitesurvey": {"manager", "technician"},
    "sites.add_roadprofile": {"manager", "technician"},
    "sites.change_surveysettings": {"manager"},
    "sites.add_surveylimit": {"manager"},
    "sites.change_surveylimit": {"manager"},
    "sites.delete_surveylimit": {"manager"},
    "installs.add_sensor": {"manager", "technician"},
    "installs.add_sensormodel": {"manager"},
    "installs.change_sensormodel": {"manager"},
    "installs.change_electricallimit": {"manager"},
    "installs.add_installation": {"manager", "technician"},
    "installs.change_installation": {"manager", "technician"},
    "installs.add_maintenancevisit": {"manager", "technician"},
    "installs.add_electricaltest": {"technician"},
    "installs.change_worksettings": {"manager"},
    "installs.change_curingtable": {"manager"},
    "installs.add_arrayplan": {"manager", "technician"},
    "installs.approve_arrayplan": {"manager"},
    "installs.change_stagetemplate": {"manager"},
    "installs.add_installationrecord": {"manager", "technician"},
    "installs.accept_installationrecord": {"manager"},
    "installs.add_itementry": {"manager", "technician"},
    "installs.add_photo": {"manager", "technician"},
    "installs.add_disposition": {"manager", "technician"},
    "installs.add_signoff": {"manager", "technician"},
    "installs.add_instrument": {"manager", "technician"},
    "calibration.add_calibrationsession": {"manager", "technician"},
    "calibration.add_truckrun": {"technician"},
    "calibration.change_truckrun": {"technician", "analyst"},
    "calibration.add_staticweighing": {"technician"},
    "calibration.change_standardvalue": {"manager"},
    "calibration.change_calibrationsettings": {"manager"},
    "calibration.add_sessionplan": {"manager", "technician", "analyst"},
    "calibration.add_factorset": {"manager", "technician"},
    "calibration.add_sessionsignature": {"manager", "technician"},
    "quality.add_recordfile": {"analyst"},
    "quality.add_recordimport": {"analyst"},
    "quality.add_dayreview": {"analyst"},
    "installs.add_cabinetcheck": {"manager", "technician"},
    "installs.add_cabinetunit": {"manager", "technician"},
    "installs.add_downspell": {"manager", "technician"},
    "installs.add_failurereport": {"manager", "technician"},
    "installs.add_hazardeffect": {"manager"},
    "installs.add_laneuse": {"manager"},
    "installs.add_pavementwork": {"manager"},
    "installs.add_preventivedone": {"manager", "technician"},
    "installs.add_preventiverule": {"manager"},
    "installs.add_purchase": {"manager"},
    "installs.add_renewalsettings": {"manager"},
    "installs.add_roadsidesend": {"manager", "technician"},
    "installs.add_sparepart": {"manager"},
    "installs.add_stockentry": {"manager", "technician"},
    "installs.add_technologymoney": {"manager"},
    "installs.add_technologyprofile": {"manager"},
    "installs.add_trip": {"manager", "technician"},
    "installs.add_visitphoto": {"manager", "technician"},
    "installs.add_workitem": {"manager", "technician", "analyst"},
    "installs.change_cabinetcheck": {"manager", "technician"},
    "installs.change_cabinetunit": {"manager", "technician"},
    "installs.change_downspell": {"manager", "technician"},
    "installs.change_failurereport": {"manager", "technician"},
    "installs.change_hazardeffect": {"manager"},
    "installs.change_laneuse": {"manager"},
    "installs.change_pavementwork": {"manager"},
    "installs.change_preventivedone": {"manager", "technician"},
    "installs.change_preventiverule": {"manager"},
    "installs.change_purchase": {"manager"},
    "installs.change_renewalsettings": {"manager"},
    "installs.change_roadsidesend": {"manager", "technician"},
    "installs.change_sparepart": {"manager"},
    "installs.change_technologymoney": {"manager"},
    "installs.change_technologyprofile": {"manager"},
    "installs.change_trip": {"manager", "technician"},
    "installs.change_visitphoto": {"manager", "technician"},
    "installs.change_workitem": {"manager", "technician", "analyst"},
    "installs.delete_hazardeffect": {"manager"},
    "installs.delete_laneuse": {"manager"},
    "installs.delete_pavementwork": {"manager"},
    "installs.delete_technologymoney": {"manager"},
    "installs.delete_technologyprofile": {"manager"},
    "quality.add_apikey": {"manager", "analyst"},
    "quality.add_backcorrection": {"manager", "analyst"},
    "quality.add_checklimit": {"manager", "analyst"},
    "quality.add_driftepisode": {"manager", "analyst"},
    "quality.add_recordreplacement": {"manager", "analyst"},
    "quality.add_recordsettings": {"manager"},
    "quality.add_reportissue": {"manager", "analyst"},
    "quality.add_reportjob": {"manager", "analyst"},
    "quality.add_reviewquestion": {"manager", "analyst"},
    "quality.add_savedmapping": {"manager", "analyst"},
    "quality.add_stationdescription": {"manager", "analyst"},
    "quality.change_apikey": {"manager", "analyst"},
    "quality.change_backcorrection": {"manager", "analyst"},
    "quality.change_checklimit": {"manager", "analyst"},
    "quality.change_driftepisode": {"manager", "analyst"},
    "quality.change_recordreplacement": {"manager", "analyst"},
    "quality.change_recordsettings": {"manager"},
    "quality.change_reportjob": {"manager", "analyst"},
    "quality.change_reviewquestion": {"manager", "analyst"},
    "quality.change_savedmapping": {"manager", "analyst"},
    "quality.change_stationdescription": {"manager", "analyst"},
    "quality.delete_checklimit": {"manager", "analyst"},
    "quality.delete_savedmapping": {"manager", "analyst"},
}


@pytest.mark.parametrize("name", sorted(set(PATTERNS) - OPEN_TO_ALL))
def test_every_page_states_the_permissions_it_needs(name):
    needed = getattr(PATTERNS[name], "needed_permissions", None)
    assert needed, f"{name} is open to anybody who has signed in, or to everybody"


@pytest.mark.parametrize("permission", sorted(WRITES))
def test_each_write_belongs_to_those_who_need_it(
    permission, manager, technician, analyst, guest, outsider
):
    cast = {
        "manager": manager,
        "technician": technician,
        "analyst": analyst,
        "guest": guest,
        "outsider": outsider,
    }
    assert {n for n, user in cast.items() if user.has_perm(permission)} == (
        WRITES[permission]
    )


def test_a_guest_sees_all_and_writes_nothing(guest):
    held = guest.get_all_permissions()
    assert held
    assert all(p.split(".")[1].startswith("view_") for p in held)


def test_nobody_in_the_groups_may_delete_facts(manager, technician, analyst):
    for user in (manager, technician, analyst):
        deletes = {p for p in user.get_all_permissions() if ".delete_" in p}
        assert deletes <= {
            "installs.delete_electricallimit",
            "sites.delete_surveylimit",
            "calibration.delete_standardvalue",
            "installs.delete_hazardeffect",
            "installs.delete_laneuse",
            "installs.delete_pavementwork",
            "installs.delete_technologymoney",
            "installs.delete_technologyprofile",
            "quality.delete_checklimit",
            "quality.delete_savedmapping",
        }


@pytest.mark.parametrize("name", ["health", "site-list"])
def test_a_stranger_is_sent_to_sign_in(name, client, db):
    answer = client.get(reverse(name))
    assert answer.status_code == 302
    assert answer["Location"].startswith(reverse("login"))


@pytest.mark.parametrize("name", ["health", "site-list"])
def test_an_account_without_a_group_is_refused(name, client_for, outsider):
    assert client_for(outsider).get(reverse(name)).status_code == 403
