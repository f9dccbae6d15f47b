from django.apps import AppConfig


class GradingConfig(AppConfig):
    name = "grading"

    def ready(self) -> None:
        from grading.board_colours import grade_colours
        from grading.uploads import register_kinds
        from sawing.board_colours import register_colours

        register_kinds()
        register_colours(grade_colours)
