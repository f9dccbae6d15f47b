from django.apps import AppConfig


class ReportsConfig(AppConfig):
    name = "reports"

    def ready(self) -> None:
        from reports.uploads import register_kinds

        register_kinds()
