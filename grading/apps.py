from django.apps import AppConfig


class GradingConfig(AppConfig):
    name = "grading"

    def ready(self) -> None:
        from grading.uploads import register_kinds

        register_kinds()
