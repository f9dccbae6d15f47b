from django.urls import path

from grading.stiffness import views

HERE = "grading/<slug:trial>/<slug:study>/stiffness/"
urlpatterns = [
    path(HERE, views.stiffness, name="stiffness"),
    path(f"{HERE}new/", views.new_tap, name="new_tap"),
    path(f"{HERE}sound/", views.sound, name="new_sound"),
    path(f"{HERE}rules/", views.rules, name="stiffness_rules"),
    path(f"{HERE}<int:pk>/aside/", views.tap_aside, name="tap_aside"),
]
