"""Fills, characteristics and free-named settings put in on the set's and the chart's pages."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.world import MM, World
from tooling.models import ChartAxis, ChartPass, Person, SetFill, SetPosition, ToolSet

pytestmark = pytest.mark.django_db


@pytest.fixture
def tool_set(world: World) -> ToolSet:
    roll = world.drawing("R-1", bore_nm=60 * MM)
    tool_set = world.tool_set("T 12/b", {(1, "top", 1): roll, (1, "top", 2): roll})
    world.chart(tool_set, world.mill("M1"))
    return tool_set


@pytest.fixture
def page(client: Client, engineer: Person) -> Client:
    client.force_login(engineer, backend="tooling.web.zone.ShopBackend")
    return client


FILL = {"set_pass": "1", "shaft": "top", "after_order": "1"}


def test_a_fill_is_added_changed_and_taken_out(page: Client, tool_set: ToolSet) -> None:
    url = "/sets/T 12/b/middle-fill/"
    assert page.post(url, {**FILL, "length_nm": "1/2 in", "below_nm": "0.02"}).status_code == 302
    (row,) = SetFill.objects.all()
    assert (row.length_nm, row.below_nm, row.above_nm) == (12_700_000, 20_000, 0)
    form = page.get(url, {"fill": row.pk}).content.decode()
    assert 'value="12.7"' in form
    page.post(f"{url}?fill={row.pk}", {**FILL, "length_nm": "12", "outside_most_nm": "140"})
    row.refresh_from_db()
    assert (row.length_nm, row.outside_most_nm) == (12 * MM, 140 * MM)
    assert "after 1" in page.get("/sets/T 12/b/").content.decode()
    page.post(f"{url}{row.pk}/remove/")
    assert not SetFill.objects.exists()


def test_a_refused_fill_keeps_what_was_typed(page: Client, tool_set: ToolSet) -> None:
    answer = page.post("/sets/T 12/b/middle-fill/", {**FILL, "length_nm": "5", "below_nm": "6"})
    told = answer.content.decode()
    assert answer.status_code == 400
    assert 'data-code="window_beyond_fill"' in told
    assert 'value="6"' in told


def test_what_is_checked_is_kept_in_its_own_unit(page: Client, tool_set: ToolSet) -> None:
    url = "/sets/T 12/b/characteristic/"
    page.post(url, {"name": "Leg & lip", "unit": "in", "nominal": "1 1/2", "least": "5 mm"})
    page.post(url, {"name": "Flange", "unit": "°", "nominal": "90", "most": "91,5"})
    rows = {row.name: row for row in tool_set.characteristics.all()}
    assert (rows["Leg & lip"].nominal_nm, rows["Leg & lip"].least_nm) == (38_100_000, 5 * MM)
    assert (rows["Flange"].nominal, rows["Flange"].most) == (90.0, 91.5)
    form = page.get(url, {"name": "Leg & lip"}).content.decode()
    assert 'value="5 mm"' in form
    refused = page.post(url, {"name": "X", "unit": "bar", "nominal": "much"}).content.decode()
    assert 'data-code="not_a_number"' in refused
    page.post(f"{url}remove/", {"name": "Leg & lip"})
    assert [row.name for row in tool_set.characteristics.all()] == ["Flange"]


def test_a_setting_and_a_gap_over_the_strip_on_the_chart(page: Client, tool_set: ToolSet) -> None:
    at = ChartPass.objects.get()
    base = f"/sets/charts/{at.chart_id}/"
    one = f"{base}passes/{at.set_pass_id}/"
    gap = {"station": "1", "gap_allowance_nm": "-0.05", "gap_method": "feeler"}
    assert page.post(one, gap).status_code == 302
    page.post(f"{one}setting/", {"name": "Top screw", "unit": "turns", "target": "2.5"})
    shown = page.get(base).content.decode()
    assert "-0.05 mm" in shown
    assert "feelers" in shown
    assert "<strong>2.5</strong> turns" in shown
    both = page.post(one, {**gap, "gap_nm": "1.2"}).content.decode()
    assert 'data-code="two_targets"' in both
    closed = page.post(one, {"station": "1", "gap_nm": "-1 mm"}).content.decode()
    assert 'data-code="gap_not_open"' in closed
    page.post(f"{one}setting/remove/", {"name": "top screw"})
    assert not ChartAxis.objects.exists()


def test_the_gap_point_of_a_pass_and_its_roll(page: Client, tool_set: ToolSet) -> None:
    page.post("/sets/T 12/b/pass/?pass=1", {"number": "1", "gap_point": "lip", "gap_degrees": "30"})
    row = SetPosition.objects.get(order=1)
    assert row.set_pass.gap_degrees == 30
    values = {"set_pass": "1", "shaft": "top", "order": "1", "drawing": "R-1",
              "mark_faces": "outboard", "gap_diameter_nm": "150.5"}  # fmt: skip
    page.post("/sets/T 12/b/position/", values)
    row.refresh_from_db()
    assert row.gap_diameter_nm == 150_500_000
    form = page.get("/sets/T 12/b/position/", {"position": row.pk}).content.decode()
    assert 'value="150.5"' in form
    steep = page.post("/sets/T 12/b/pass/", {"number": "1", "gap_degrees": "95"})
    assert 'data-code="angle_out_of_range"' in steep.content.decode()


def test_the_shops_leaves_are_typed_one_after_the_other(client: Client, supervisor: Person) -> None:
    client.force_login(supervisor, backend="tooling.web.zone.ShopBackend")
    url = "/shop/settings/feeler_leaves/"
    assert "0.05; 0.1; 0.15" in client.get(url).content.decode()
    client.post(url, {"value": "0.2 0.1; 0.001in"})
    assert "0.0254 0.1 0.2 mm" in client.get("/shop/settings/").content.decode()
    refused = client.post(url, {"value": "0.2; thick"}).content.decode()
    assert 'data-code="not_a_length"' in refused
