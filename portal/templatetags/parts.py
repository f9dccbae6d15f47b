"""Template parts used on every page."""

from django import template

register = template.Library()
