from django.apps import AppConfig


class SawingConfig(AppConfig):
    name = "sawing"

    def ready(self) -> None:
        from sawing.uploads import register_kinds

        register_kinds()
