import os

import pytest

from tests import factories

pytestmark = [pytest.mark.e2e, pytest.mark.django_db(transaction=True)]

def test_shots(page, live_server, transactional_db, settings):
    from importlib import import_module

    from django.apps import apps
    from django.contrib.auth.models import Group, User
    for m in ("0002_roles",):
        import_module("quality.migrations."+m).make_groups(apps, None)
    from pathlib import Path
    for p in Path("quality/migrations").glob("000[3-9]*.py"):
        mod=import_module("quality.migrations."+p.stem)
        for n in ("add_permissions",):
            if hasattr(mod,n): getattr(mod,n)(apps,None)
    u = User.objects.create_user("manager", password="roadside-tests-only")
    u.groups.add(Group.objects.get(name="program manager"))
    factories.ProgramFactory.create()
    s = factories.SiteFactory(code="OV-014")
    lane = factories.LaneFactory(wim_site=s, number=1, width_m=3.6576)
    from installs.calc.types import Technology
    from installs.models import CuringRow, CuringTable
    from installs.services.plans import curing_table_save, plan_start
    plan = plan_start(lane=lane, technology=Technology(os.environ.get("TECH","quartz piezo")), by=u, why="")
    t = curing_table_save(table=CuringTable(product="Invented resin", document="Sheet 4, 2023", hardener_unit="g a kit"), rows=[CuringRow(temp_c=a,hardener_amount=b,pot_life_min=c,cure_min=d) for a,b,c,d in ((10,90,25,90),(20,60,14,45),(30,40,8,20))], by=None, why="")
    page.goto(live_server.url + "/")
    page.locator("input[name=username]").fill("manager")
    page.locator("input[type=password]").fill("roadside-tests-only")
    page.keyboard.press("Enter")
    page.locator("details.user").wait_for()
    urls = {
      "list": f"/roadside/lanes/{lane.pk}/plans/",
      "detail": f"/roadside/plans/{plan.pk}/",
      "edit": f"/roadside/plans/{plan.pk}/edit/",
      "sheet": f"/roadside/plans/{plan.pk}/sheet/",
      "quantities": f"/roadside/plans/{plan.pk}/quantities/",
      "square": f"/roadside/reckon/square/?plan={plan.pk}&into_1=9&along_1=12&diagonal_1=15&into_2=6&along_2=8&diagonal_2=10.01",
      "square-bad": f"/roadside/reckon/square/?plan={plan.pk}&into_1=9&along_1=12&diagonal_1=22",
      "spacing": f"/roadside/reckon/spacing/?plan={plan.pk}&built_1=12.02&built_2=12.01&setting=12.1",
      "weather": "/roadside/reckon/weather/?air=60&pavement=59&resin=70",
      "curing": f"/roadside/curing/{t.pk}/",
      "curing-edit": f"/roadside/curing/{t.pk}/edit/",
      "work": "/program/work/",
      "work-edit": "/program/work/edit/",
    }
    only = os.environ.get("ONLY")
    for w in (1280, 390):
        page.set_viewport_size({"width": w, "height": 900})
        for name, path in urls.items():
            if only and name not in only.split(","): continue
            page.goto(live_server.url + path)
            over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
            print(name, w, "overflow", over)
            page.screenshot(path=f"/tmp/plan/shots/{name}-{w}.png", full_page=True)
    page.goto(live_server.url + urls["sheet"])
    page.pdf(path="/tmp/plan/shots/sheet.pdf", landscape=True, prefer_css_page_size=True)
