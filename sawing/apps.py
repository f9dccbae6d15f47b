from django.apps import AppConfig


class SawingConfig(AppConfig):
    name = "sawing"

    def ready(self) -> None:
        from portal.jobs.registry import register
        from sawing.docking import uploads as docking
        from sawing.docking.actions import COMPARE_KIND, JOB_KIND
        from sawing.docking.jobs import run_comparison, run_scenarios
        from sawing.drying import uploads as drying
        from sawing.labels import print_job
        from sawing.uploads import register_kinds

        register_kinds()
        docking.register_kinds()
        drying.register_kinds()
        register(JOB_KIND, run_scenarios)
        register(COMPARE_KIND, run_comparison)
        register(print_job.KIND, print_job.print_sheets)
