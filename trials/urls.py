from django.urls import path

from trials import field
from trials.entries.urls import urlpatterns as entry_api
from trials.planning import views as planning
from trials.views import (
    assessments,
    checks,
    deciding,
    growth,
    maps,
    photos,
    stand,
    stand_figures,
    tags,
    traits,
)

app_name = "trials"
urlpatterns = [
    path("field/", field.page, name="field"),
    path("field/worker.js", field.worker, name="field_worker"),
    path("field/manifest.webmanifest", field.manifest, name="field_manifest"),
    path("trees/", stand.trees, name="trees"),
    path("trees/new/", stand.new_trial, name="new_trial"),
    path("trees/<slug:trial>/describe/", stand.describe_trial, name="describe_trial"),
    path("trees/<slug:trial>/describe/<path:site>/", stand.describe_site, name="describe_site"),
    path("trees/<slug:trial>/all/", stand.trial_trees, name="trial_trees"),
    path("trees/<slug:trial>/plan/", planning.plan, name="plan"),
    path("trees/<slug:trial>/choose/", planning.choose, name="choose"),
    # The word before the code: codes of sites may hold slashes.
    path("trees/<slug:trial>/map/<path:site>/", maps.site_map, name="site_map"),
    path("trees/<slug:trial>/map-data/<path:site>/", maps.site_map_data, name="site_map_data"),
    path("trees/<slug:trial>/walk/<path:site>/", maps.walking_list, name="walking_list"),
    path("trees/<slug:trial>/tags/<path:site>/", tags.tree_tags, name="tree_tags"),
    path("trees/<slug:trial>/site/<path:site>/", stand.site, name="site"),
    path("trees/<slug:trial>/tree/<path:code>/", stand.tree, name="tree"),
    path("trees/<slug:trial>/growth/", growth.growth, name="growth"),
    path("trees/<slug:trial>/traits/", traits.traits, name="traits"),
    path("trees/<slug:trial>/traits/new/", traits.new_trait, name="new_trait"),
    path("trees/<slug:trial>/traits/usual/", traits.usual_traits, name="usual_traits"),
    path("trees/<slug:trial>/traits/<slug:code>/change/", traits.change_trait, name="change_trait"),
    path("trees/<slug:trial>/assessments/", assessments.assessments, name="assessments"),
    path("trees/<slug:trial>/assessments/new/", assessments.new_assessment, name="new_assessment"),
    path("trees/<slug:trial>/assessments/unplaced/", deciding.unplaced, name="unplaced"),
    path("trees/<slug:trial>/photos/<int:pk>/", photos.photo, name="photo"),
    path("trees/<slug:trial>/photos/<int:pk>/state/", photos.photo_state, name="photo_state"),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/photos/", photos.assessment_photos, name="assessment_photos"
    ),
    path("trees/<slug:trial>/assessments/<int:pk>/", assessments.assessment, name="assessment"),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/values/",
        assessments.assessment_values,
        name="assessment_values",
    ),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/state/",
        assessments.assessment_state,
        name="assessment_state",
    ),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/waiting/",
        deciding.assessment_waiting,
        name="assessment_waiting",
    ),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/checks/",
        checks.assessment_checks,
        name="assessment_checks",
    ),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/close/",
        checks.close_assessment,
        name="close_assessment",
    ),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/change/",
        assessments.change_assessment,
        name="change_assessment",
    ),
    path(
        "trees/<slug:trial>/assessments/<int:pk>/figures/",
        stand_figures.assessment_figures,
        name="assessment_figures",
    ),
    *entry_api,
]
