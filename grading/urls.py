from django.urls import path

from grading import views

app_name = "grading"
urlpatterns = [
    path("boards/", views.boards, name="boards"),
    path("boards/rule-sets/", views.rule_sets, name="rule_sets"),
    path("boards/rule-sets/new/", views.new_rule_set, name="new_rule_set"),
    path("boards/offer/<slug:trial>/<slug:study>/", views.offer, name="offer"),
    path("boards/<slug:trial>/<slug:study>/", views.study_boards, name="study_boards"),
    path("boards/<slug:trial>/<slug:study>/<path:code>/", views.board, name="board"),
]
