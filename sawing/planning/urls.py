"""Addresses below `sawing/<trial>/<study>/`."""

from django.urls import URLPattern, path

from sawing.planning import felling_views, log_views, views

BASE = "sawing/<slug:trial>/<slug:study>/"

urlpatterns: list[URLPattern] = [
    path(f"{BASE}plan/", views.plan, name="plan"),
    path(f"{BASE}duties/", views.duties, name="duties"),
    path(f"{BASE}duties/<int:pk>/end/", views.end_duty, name="end_duty"),
    path(f"{BASE}stages/<slug:stage>/<slug:which>/", views.stage, name="stage"),
    path(f"{BASE}fellings/", felling_views.fellings, name="fellings"),
    path(f"{BASE}cuts/", felling_views.cutting_list, name="cutting_list"),
    # The word before the code: codes of trees and logs may hold slashes.
    path(f"{BASE}fellings/stem/<path:tree>/", felling_views.felling, name="felling"),
    path(f"{BASE}fellings/record/<path:tree>/", felling_views.stem_record, name="stem_record"),
    path(f"{BASE}fellings/log/<path:tree>/", log_views.new_log, name="new_log"),
    path(f"{BASE}logs/correct/<path:code>/", log_views.change_log, name="change_log"),
]
