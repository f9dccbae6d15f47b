from django.urls import path

from sawing import views

app_name = "sawing"
urlpatterns = [
    path("sawing/", views.studies, name="studies"),
    path("sawing/<slug:trial>/new/", views.new_study, name="new_study"),
    path("sawing/<slug:trial>/<slug:study>/plan/", views.plan, name="plan"),
    path("sawing/<slug:trial>/<slug:study>/logs/", views.logs, name="logs"),
    path("sawing/<slug:trial>/<slug:study>/logs/<path:code>/", views.log, name="log"),
]
