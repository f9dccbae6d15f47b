from django.apps import AppConfig


class TrialsConfig(AppConfig):
    name = "trials"

    def ready(self) -> None:
        from trials.uploads import register_kinds

        register_kinds()
