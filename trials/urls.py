from django.urls import path

from trials import views

app_name = "trials"
urlpatterns = [
    path("trees/", views.trees, name="trees"),
    path("trees/<slug:trial>/all/", views.trial_trees, name="trial_trees"),
    path("trees/<slug:trial>/site/<path:site>/", views.site, name="site"),
    path("trees/<slug:trial>/tree/<path:code>/", views.tree, name="tree"),
]
