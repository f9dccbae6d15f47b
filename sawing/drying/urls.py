"""Addresses below `sawing/<trial>/<study>/`."""

from django.urls import URLPattern, path

from sawing.drying import row_pages, stack_pages, taking_out, views

BASE = "sawing/<slug:trial>/<slug:study>/drying/"

urlpatterns: list[URLPattern] = [
    path(BASE, views.drying, name="drying"),
    path(f"{BASE}yards/new/", views.new_yard, name="new_yard"),
    path(f"{BASE}yards/<int:pk>/", views.yard, name="yard"),
    path(f"{BASE}stacks/new/", views.new_stack, name="new_stack"),
    path(f"{BASE}stacks/<slug:code>/", stack_pages.stack, name="stack"),
    path(f"{BASE}stacks/<slug:code>/change/", views.change_stack, name="change_stack"),
    path(f"{BASE}stacks/<slug:code>/boards/", stack_pages.stack_boards, name="stack_boards"),
    path(f"{BASE}stacks/<slug:code>/readings/", row_pages.readings, name="stack_readings"),
    path(f"{BASE}stacks/<slug:code>/samples/", row_pages.samples, name="stack_samples"),
    path(f"{BASE}stacks/<slug:code>/out/", taking_out.take_out, name="take_out"),
    path(f"{BASE}stacks/<slug:code>/release/", stack_pages.release, name="release_stack"),
    path(f"{BASE}readings/<int:pk>/", row_pages.reading_aside, name="reading_aside"),
    path(f"{BASE}defects/", row_pages.defects, name="drying_defects"),
    path(f"{BASE}defects/<int:pk>/", row_pages.defect_aside, name="defect_aside"),
    path(f"{BASE}sizes/", row_pages.dry_sizes, name="dry_sizes"),
    path(f"{BASE}calibration/", views.calibration, name="calibration"),
]
