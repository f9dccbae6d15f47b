from django.urls import path

from sawing import views
from sawing.docking.urls import urlpatterns as docking
from sawing.drying.urls import urlpatterns as drying
from sawing.labels.urls import urlpatterns as labels
from sawing.planning import views as plan_views
from sawing.planning.urls import urlpatterns as planning
from sawing.tally.urls import urlpatterns as tally

app_name = "sawing"
urlpatterns = [
    path("sawing/", views.studies, name="studies"),
    path("sawing/<slug:trial>/new/", plan_views.new_study, name="new_study"),
    path("sawing/<slug:trial>/<slug:study>/logs/", views.logs, name="logs"),
    *labels,
    *docking,
    *drying,
    *planning,
    *tally,
    path("sawing/<slug:trial>/<slug:study>/logs/<path:code>/", views.log, name="log"),
]
