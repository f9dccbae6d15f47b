"""Addresses below `sawing/<trial>/<study>/`."""

from django.urls import URLPattern, path

from sawing.labels import scan_views, views

BASE = "sawing/<slug:trial>/<slug:study>/labels/"
urlpatterns: list[URLPattern] = [
    path(BASE, views.labels, name="labels"),
    path(f"{BASE}print/", views.print_labels, name="print_labels"),
    path(f"{BASE}file/<uuid:name>/", views.label_file, name="label_file"),
    path(f"{BASE}link/", views.link_named_boards, name="link_named_boards"),
    path(f"{BASE}scan/", scan_views.scan_labels, name="scan_labels"),
    path(f"{BASE}sheet/<int:pk>/", views.label_sheet, name="label_sheet"),
]
