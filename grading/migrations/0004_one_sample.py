"""What a grader was advised belongs to the rule set; sessions and boards of a blind sample to its study."""

from django.db import migrations

RULES = [
    (
        "grading_boardgrade",
        "grading_boardgrade_suggested_of_its_rule_set",
        "FOREIGN KEY (suggested_id, rule_set_id) REFERENCES grading_grade (id, rule_set_id)"
        " DEFERRABLE INITIALLY DEFERRED",
    ),
    ("grading_gradingsample", "grading_gradingsample_id_study", "UNIQUE (id, study_id)"),
    (
        "grading_gradingsession",
        "grading_gradingsession_sample_of_its_study",
        "FOREIGN KEY (sample_id, study_id) REFERENCES grading_gradingsample (id, study_id)"
        " DEFERRABLE INITIALLY DEFERRED",
    ),
    (
        "grading_sampleboard",
        "grading_sampleboard_sample_of_its_study",
        "FOREIGN KEY (sample_id, study_id) REFERENCES grading_gradingsample (id, study_id)"
        " DEFERRABLE INITIALLY DEFERRED",
    ),
    (
        "grading_sampleboard",
        "grading_sampleboard_board_of_its_study",
        "FOREIGN KEY (board_id, study_id) REFERENCES sawing_board (id, study_id) DEFERRABLE INITIALLY DEFERRED",
    ),
]


class Migration(migrations.Migration):
    dependencies = [("grading", "0003_bench"), ("sawing", "0003_one_parent")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {name} {rule}",
            f"ALTER TABLE {table} DROP CONSTRAINT {name}",
        )
        for table, name, rule in RULES
    ]
