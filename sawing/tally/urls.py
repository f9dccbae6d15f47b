"""Addresses of the tally: below `sawing/<trial>/<study>/` its pages, below `sawing/api/` what they ask and send."""

from django.urls import URLPattern, path

from sawing.tally import api, frame, views

PLACE = "<slug:trial>/<slug:study>/tally"

urlpatterns: list[URLPattern] = [
    path("sawing/tally/frame/", frame.frame, name="tally_frame"),
    path("sawing/tally/worker.js", frame.worker, name="tally_worker"),
    path(f"sawing/api/{PLACE}/", api.tally_entries, name="tally_entries"),
    path(f"sawing/api/{PLACE}/pack/", api.tally_pack, name="tally_pack"),
    path(f"sawing/{PLACE}/", frame.page, name="tally"),
    path(f"sawing/{PLACE}/balance/", views.balance, name="tally_balance"),
    path(f"sawing/{PLACE}/waiting/", views.waiting, name="tally_waiting"),
]
