from django.urls import path

from reports import views

app_name = "reports"
urlpatterns = [
    path("", views.home, name="home"),
    path("trees/<slug:trial>/", views.trial, name="trial"),
    path("sawing/<slug:trial>/<slug:study>/", views.study, name="study"),
    path("clones/", views.clones, name="clones"),
    path("clones/<slug:trial>/", views.trial_clones, name="trial_clones"),
    path("clones/<slug:trial>/prices/", views.prices, name="prices"),
    path("clones/<slug:trial>/clone/<path:code>/", views.clone, name="clone"),
]
