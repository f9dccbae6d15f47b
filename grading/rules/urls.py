from django.urls import path, re_path

from grading.rules import regrade_views, views, writing_views

SETS = "boards/rule-sets/"
urlpatterns = [
    path(SETS, views.rule_sets, name="rule_sets"),
    path(f"{SETS}new/", views.new_rule_set, name="new_rule_set"),
    path(f"{SETS}shipped/", views.take_rule_set, name="take_rule_set"),
    path(f"{SETS}write/", writing_views.write_rule_set, name="write_rule_set"),
    path(f"{SETS}document/", writing_views.type_rule_set, name="type_rule_set"),
    path(f"{SETS}<slug:code>/", views.rule_set, name="rule_set"),
    path(f"{SETS}<slug:code>/change/", writing_views.change_rule_set, name="change_rule_set"),
    path(f"{SETS}<slug:code>/<int:version>/", views.rule_set, name="rule_set_version"),
    re_path(
        rf"^{SETS}(?P<code>[-\w]+)/(?P<version>\d{{1,9}})/document\.(?P<kind>toml|json)$",
        views.rule_set_file,
        name="rule_set_file",
    ),
    path("grading/<slug:trial>/<slug:study>/regrades/", regrade_views.regrades, name="regrades"),
    path("grading/<slug:trial>/<slug:study>/regrades/<int:pk>/", regrade_views.regrade, name="regrade"),
    path(
        "grading/<slug:trial>/<slug:study>/regrades/<int:pk>/keep/", regrade_views.keep, name="keep_regrade"
    ),
]
