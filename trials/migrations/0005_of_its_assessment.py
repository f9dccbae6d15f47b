"""A trait with entries is a trait of their assessment, and stays one."""

from django.db import migrations

TABLE, NAME = "trials_entry", "trials_entry_of_a_trait_of_its_assessment"
RULE = (
    "FOREIGN KEY (assessment_id, trait_id) REFERENCES trials_assessmenttrait (assessment_id, trait_id)"
    " DEFERRABLE INITIALLY DEFERRED"
)


class Migration(migrations.Migration):
    dependencies = [("trials", "0004_looking")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {TABLE} ADD CONSTRAINT {NAME} {RULE}", f"ALTER TABLE {TABLE} DROP CONSTRAINT {NAME}"
        )
    ]
