from django.urls import path

from trials import views

app_name = "trials"
urlpatterns = [
    path("trees/", views.trees, name="trees"),
    path("trees/new/", views.new_trial, name="new_trial"),
    path("trees/<slug:trial>/describe/", views.describe_trial, name="describe_trial"),
    path("trees/<slug:trial>/describe/<path:site>/", views.describe_site, name="describe_site"),
    path("trees/<slug:trial>/all/", views.trial_trees, name="trial_trees"),
    path("trees/<slug:trial>/site/<path:site>/", views.site, name="site"),
    path("trees/<slug:trial>/tree/<path:code>/", views.tree, name="tree"),
]
