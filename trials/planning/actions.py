"""Bringing a plan into its trial: through the shared upload machine, as a layout file like any other."""

from portal.models import Upload, User
from portal.uploads.actions import check_upload
from portal.uploads.registry import Target
from trials.calc.site_plan import SitePlan, layout_csv
from trials.models import Trial


def bring_plan(*, trial: Trial, plan: SitePlan, by: User) -> Upload:
    """Check the plan's layout file and keep it for the preview; nothing of its rows is stored yet.

    :raises UploadRefused: as for every file (portal.uploads.actions.check_upload).
    """
    return check_upload(
        kind_name="layout",
        target=Target(trial),
        file_name=f"{plan.name}.csv",
        data=layout_csv(plan.layout),
        by=by,
    )
