"""The study that a file goes into belongs to the file's own trial."""

from django.db import migrations

RULES = [
    ("sawing_study", "sawing_study_id_trial", "UNIQUE (id, trial_id)"),
    (
        "portal_upload",
        "portal_upload_into_a_study_of_its_trial",
        "FOREIGN KEY (study_id, trial_id) REFERENCES sawing_study (id, trial_id) DEFERRABLE INITIALLY DEFERRED",
    ),
]


class Migration(migrations.Migration):
    dependencies = [("portal", "0002_initial"), ("sawing", "0004_of_its_trial")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {name} {rule}",
            f"ALTER TABLE {table} DROP CONSTRAINT {name}",
        )
        for table, name, rule in RULES
    ]
