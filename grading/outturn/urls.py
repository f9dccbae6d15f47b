from django.urls import path

from grading.outturn import views

urlpatterns = [path("grading/<slug:trial>/<slug:study>/out-turn/", views.page, name="out_turn")]
