from django.apps import AppConfig


class GradingConfig(AppConfig):
    name = "grading"

    def ready(self) -> None:
        from grading.board_colours import grade_colours, stiffness_colours
        from grading.rules.regrade_job import KIND, run_regrade
        from grading.uploads import register_kinds
        from portal.jobs.registry import register
        from sawing.board_colours import register_colours

        register_kinds()
        register_colours(grade_colours)
        register_colours(stiffness_colours)
        register(KIND, run_regrade)
