from django.urls import path

from grading import views
from grading.agreement.urls import urlpatterns as agreement
from grading.bench.urls import urlpatterns as bench
from grading.outturn.urls import urlpatterns as outturn
from grading.overview.urls import urlpatterns as overview
from grading.rules.urls import urlpatterns as rules
from grading.stiffness.urls import urlpatterns as stiffness

app_name = "grading"
urlpatterns = [
    path("boards/", views.boards, name="boards"),
    *rules,
    path("boards/offer/<slug:trial>/<slug:study>/", views.offer, name="offer"),
    *overview,
    *bench,
    *agreement,
    *stiffness,
    *outturn,
    path("boards/<slug:trial>/<slug:study>/", views.study_boards, name="study_boards"),
    path("boards/<slug:trial>/<slug:study>/<path:code>/", views.board, name="board"),
]
