from django.urls import path

from grading.rules import regrade_views

urlpatterns = [
    path("grading/<slug:trial>/<slug:study>/regrades/", regrade_views.regrades, name="regrades"),
    path("grading/<slug:trial>/<slug:study>/regrades/<int:pk>/", regrade_views.regrade, name="regrade"),
    path(
        "grading/<slug:trial>/<slug:study>/regrades/<int:pk>/keep/", regrade_views.keep, name="keep_regrade"
    ),
]
