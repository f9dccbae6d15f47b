"""Pages of the site itself: signing in, files, the look."""

from django.urls import path

from portal.jobs import views as jobs
from portal.look import look
from portal.people import views as people
from portal.views import files, site

app_name = "portal"
urlpatterns = [
    path("sign-in/", site.SignIn.as_view(), name="sign_in"),
    path("sign-out/", site.SignOut.as_view(), name="sign_out"),
    path("look/", look, name="look"),
    path("account/", people.account, name="account"),
    path("account/password/", people.ChangePassword.as_view(), name="change_password"),
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/<int:pk>/", jobs.job, name="job"),
    path("jobs/<int:pk>/stop/", jobs.stop, name="stop_job"),
    path("people/", people.people, name="people"),
    path("people/<slug:trial>/give/", people.give_role, name="give_role"),
    path("people/<slug:trial>/new/", people.new_person, name="new_person"),
    path("people/<slug:trial>/end/<int:pk>/", people.end_role, name="end_role"),
    path("files/", files.files, name="files"),
    path("files/new/", files.bring_file, name="bring_file"),
    path("files/formats/", files.formats, name="formats"),
    path("files/formats/<slug:kind>/", files.sample, name="sample"),
    path("files/<int:pk>/", files.file, name="file"),
    path("files/<int:pk>/store/", files.store_file, name="store_file"),
    path("files/<int:pk>/discard/", files.discard_file, name="discard_file"),
    path("files/<int:pk>/held/", files.held, name="held"),
    path("files/<int:pk>/held/download/", files.held_download, name="held_download"),
]
