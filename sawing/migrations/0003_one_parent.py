"""A file goes into a study of its own trial; a board's flitch comes from the board's own log, and everything of a log from the log's own study."""

from django.db import migrations

RULES = [
    ("sawing_study", "sawing_study_id_trial", "UNIQUE (id, trial_id)"),
    (
        "portal_upload",
        "portal_upload_into_a_study_of_its_trial",
        "FOREIGN KEY (study_id, trial_id) REFERENCES sawing_study (id, trial_id) DEFERRABLE INITIALLY DEFERRED",
    ),
    ("sawing_felling", "sawing_felling_id_study", "UNIQUE (id, study_id)"),
    ("sawing_log", "sawing_log_id_study", "UNIQUE (id, study_id)"),
    ("sawing_flitch", "sawing_flitch_id_log", "UNIQUE (id, log_id)"),
    (
        "sawing_log",
        "sawing_log_felled_for_its_study",
        "FOREIGN KEY (felling_id, study_id) REFERENCES sawing_felling (id, study_id) DEFERRABLE INITIALLY DEFERRED",
    ),
    (
        "sawing_flitch",
        "sawing_flitch_in_the_study_of_its_log",
        "FOREIGN KEY (log_id, study_id) REFERENCES sawing_log (id, study_id) DEFERRABLE INITIALLY DEFERRED",
    ),
    (
        "sawing_board",
        "sawing_board_in_the_study_of_its_log",
        "FOREIGN KEY (log_id, study_id) REFERENCES sawing_log (id, study_id) DEFERRABLE INITIALLY DEFERRED",
    ),
    (
        "sawing_board",
        "sawing_board_from_a_flitch_of_its_log",
        "FOREIGN KEY (flitch_id, log_id) REFERENCES sawing_flitch (id, log_id) DEFERRABLE INITIALLY DEFERRED",
    ),
    ("sawing_board", "sawing_board_id_study", "UNIQUE (id, study_id)"),
    (
        "sawing_tallyentry",
        "sawing_tallyentry_log_of_its_study",
        "FOREIGN KEY (log_id, study_id) REFERENCES sawing_log (id, study_id) DEFERRABLE INITIALLY DEFERRED",
    ),
    (
        "sawing_tallyentry",
        "sawing_tallyentry_board_of_its_study",
        "FOREIGN KEY (board_id, study_id) REFERENCES sawing_board (id, study_id) DEFERRABLE INITIALLY DEFERRED",
    ),
]


class Migration(migrations.Migration):
    dependencies = [("sawing", "0002_processing")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {name} {rule}",
            f"ALTER TABLE {table} DROP CONSTRAINT {name}",
        )
        for table, name, rule in RULES
    ]
