"""Addresses of the phone's questions; part of trials.urls."""

from django.urls import path

from trials.entries import api

urlpatterns = [
    path("field/api/session/", api.session, name="field_session"),
    path("field/api/assessments/", api.assessments, name="field_assessments"),
    path("field/api/assessments/<int:pk>/", api.assessment, name="field_assessment"),
    path("field/api/entries/", api.entries, name="field_entries"),
    path("field/api/photos/", api.photos, name="field_photos"),
]
