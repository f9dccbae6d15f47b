from django.urls import path

from grading.overview import views

urlpatterns = [path("grading/<slug:trial>/<slug:study>/", views.grading, name="grading")]
