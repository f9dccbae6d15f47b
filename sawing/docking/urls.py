"""Addresses below `sawing/<trial>/<study>/`."""

from django.urls import URLPattern, path

from sawing.docking import compare_page, scenario_pages, tracing, views

DOCK = "sawing/<slug:trial>/<slug:study>/dock/"

urlpatterns: list[URLPattern] = [
    path(DOCK, views.flitches, name="dock"),
    path(f"{DOCK}flitch/<int:pk>/", views.flitch, name="dock_flitch"),
    path(f"{DOCK}trace/", tracing.trace, name="dock_trace"),
    path(f"{DOCK}compare/", compare_page.compare, name="dock_compare"),
    path(f"{DOCK}scenarios/", scenario_pages.scenarios, name="dock_scenarios"),
    path(f"{DOCK}scenarios/<int:pk>/", scenario_pages.scenario_table, name="dock_scenario_table"),
]
