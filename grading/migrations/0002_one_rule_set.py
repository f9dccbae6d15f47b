"""A board's grade belongs to the rule set it was graded by."""

from django.db import migrations

RULES = [
    ("grading_grade", "grading_grade_id_rule_set", "UNIQUE (id, rule_set_id)"),
    (
        "grading_boardgrade",
        "grading_boardgrade_grade_of_its_rule_set",
        "FOREIGN KEY (grade_id, rule_set_id) REFERENCES grading_grade (id, rule_set_id)"
        " DEFERRABLE INITIALLY DEFERRED",
    ),
]


class Migration(migrations.Migration):
    dependencies = [("grading", "0001_initial")]

    operations = [
        migrations.RunSQL(
            f"ALTER TABLE {table} ADD CONSTRAINT {name} {rule}",
            f"ALTER TABLE {table} DROP CONSTRAINT {name}",
        )
        for table, name, rule in RULES
    ]
