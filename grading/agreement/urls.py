from django.urls import path

from grading.agreement import views

HERE = "grading/<slug:trial>/<slug:study>/agreement/"
urlpatterns = [
    path(HERE, views.samples, name="samples"),
    path(f"{HERE}<int:pk>/", views.sample, name="sample"),
    path(f"{HERE}<int:pk>/close/", views.close, name="close_sample"),
    path(f"{HERE}sitting/<int:pk>/<int:rules>/", views.drifting, name="drift"),
]
