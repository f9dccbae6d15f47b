"""Addresses below `sawing/<trial>/<study>/`."""

from django.urls import URLPattern

urlpatterns: list[URLPattern] = []
