"""All addresses, one include per room."""

from django.urls import include, path

urlpatterns = [
    path("", include("portal.site_urls")),
    path("", include("trials.urls")),
    path("", include("sawing.urls")),
    path("", include("grading.urls")),
    path("", include("reports.urls")),
]

handler400 = "portal.views.errors.bad_request"
