"""What stands for a tree in an assessment is about a tree of the assessment's own site: rules the database keeps."""

import pgtrigger

ON_ANOTHER_SITE = "{} of a tree on another site than its assessment"
STAY = "a measured tree cannot go to another site"


def trees_of_its_site(what: str, *, or_none: bool = False) -> list[pgtrigger.Trigger]:
    """Triggers for a table with `assessment` and `tree`: both are of one site.

    Added rows are looked at once a statement, so that a batch pays once and not a row; changed ones singly, and
    only where one of the two changes. Those without a tree (`or_none`) pass.
    """
    words = ON_ANOTHER_SITE.format(what)
    refuse = f"RAISE EXCEPTION '{words}' USING ERRCODE = 'check_violation';"
    changes = (
        "OLD.tree_id IS DISTINCT FROM NEW.tree_id OR OLD.assessment_id IS DISTINCT FROM NEW.assessment_id"
    )
    absent = "NEW.tree_id IS NULL OR" if or_none else ""
    return [
        pgtrigger.Trigger(
            name="added_of_its_site",
            level=pgtrigger.Statement,
            when=pgtrigger.After,
            operation=pgtrigger.Insert,
            referencing=pgtrigger.Referencing(new="new_values"),
            func=f"""
                IF EXISTS (
                    SELECT FROM new_values
                        JOIN trials_tree ON trials_tree.id = new_values.tree_id
                        JOIN trials_assessment ON trials_assessment.id = new_values.assessment_id
                    WHERE trials_tree.site_id <> trials_assessment.site_id
                ) THEN
                    {refuse}
                END IF;
                RETURN NULL;
            """,
        ),
        pgtrigger.Trigger(
            name="changed_of_its_site",
            when=pgtrigger.Before,
            operation=pgtrigger.Update,
            condition=pgtrigger.Condition(changes),
            func=f"""
                IF NOT ({absent} EXISTS (
                    SELECT FROM trials_tree JOIN trials_assessment
                        ON trials_assessment.site_id = trials_tree.site_id
                    WHERE trials_tree.id = NEW.tree_id AND trials_assessment.id = NEW.assessment_id
                )) THEN
                    {refuse}
                END IF;
                RETURN NEW;
            """,
        ),
    ]


def measured_trees_stay() -> pgtrigger.Trigger:
    """A tree that was measured, photographed or asked about keeps its site: its assessments are of that site."""
    return pgtrigger.Trigger(
        name="measured_trees_stay",
        when=pgtrigger.Before,
        operation=pgtrigger.UpdateOf("site_id"),
        condition=pgtrigger.Condition("OLD.site_id IS DISTINCT FROM NEW.site_id"),
        func=f"""
            IF EXISTS (SELECT FROM trials_entry WHERE tree_id = NEW.id)
                OR EXISTS (SELECT FROM trials_photo WHERE tree_id = NEW.id)
                OR EXISTS (SELECT FROM trials_settledcheck WHERE tree_id = NEW.id)
            THEN
                RAISE EXCEPTION '{STAY}' USING ERRCODE = 'check_violation';
            END IF;
            RETURN NEW;
        """,
    )
