from django.urls import path

from grading.bench import api, views

urlpatterns = [
    path("grading/<slug:trial>/<slug:study>/bench/", views.bench, name="bench"),
    path("grading/<slug:trial>/<slug:study>/bench/start/", views.start, name="bench_start"),
    path("grading/<slug:trial>/<slug:study>/bench/close/", views.close, name="bench_close"),
    path("grading/<slug:trial>/<slug:study>/bench/board/", api.board, name="bench_board"),
    path("grading/<slug:trial>/<slug:study>/bench/suggest/", api.suggest, name="bench_suggest"),
    path("grading/<slug:trial>/<slug:study>/bench/keep/", api.keep, name="bench_keep"),
    path("grading/<slug:trial>/<slug:study>/bench/sample/<int:pk>/", views.bench_sample, name="bench_sample"),
    path("grading/<slug:trial>/<slug:study>/features/<path:code>/", views.feature_map, name="feature_map"),
]
