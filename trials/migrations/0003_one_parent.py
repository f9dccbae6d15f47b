"""A tree's site, plot and clone belong to the tree's own trial."""

from django.db import migrations

RULES = [
    ("trials_site", "trials_site_id_trial", "UNIQUE (id, trial_id)"),
    ("trials_clone", "trials_clone_id_trial", "UNIQUE (id, trial_id)"),
    (
        "trials_tree",
        "trials_tree_on_a_site_of_its_trial",
        "FOREIGN KEY (site_id, trial_id) REFERENCES trials_site (id, trial_id) DEFERRABLE INITIALLY DEFERRED",
    ),
    (
        "trials_tree",
        "trials_tree_of_a_clone_of_its_trial",
        "FOREIGN KEY (clone_id, trial_id) REFERENCES trials_clone (id, trial_id) DEFERRABLE INITIALLY DEFERRED",
    ),
]


class Migration(migrations.Migration):
    dependencies = [("trials", "0002_measuring")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {name} {rule}",
            f"ALTER TABLE {table} DROP CONSTRAINT {name}",
        )
        for table, name, rule in RULES
    ]
