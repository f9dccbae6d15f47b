from django.apps import AppConfig


class SawingConfig(AppConfig):
    name = "sawing"
