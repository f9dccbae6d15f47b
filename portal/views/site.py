"""Signing in and out, and the living page of the look."""

from django.contrib.auth.views import LoginView, LogoutView


class SignIn(LoginView):
    template_name = "portal/sign_in.html"
    redirect_authenticated_user = True


class SignOut(LogoutView):
    pass
