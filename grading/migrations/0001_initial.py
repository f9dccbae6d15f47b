import django.db.models.deletion
import django.db.models.functions.datetime
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('pghistory', '0007_auto_20250421_0444'),
        ('portal', '0001_initial'),
        ('sawing', '0002_processing'),
    ]

    operations = [
        migrations.CreateModel(
            name='RuleSet',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=64)),
                ('version', models.PositiveIntegerField(default=1)),
                ('title', models.CharField(max_length=200)),
                ('purpose', models.CharField(choices=[('appearance', 'Appearance'), ('structural', 'Structural'), ('other', 'Other')], default='other', max_length=20)),
                ('origin', models.CharField(blank=True, max_length=400)),
                ('caution', models.TextField(blank=True)),
                ('rules', models.JSONField(blank=True, default=dict)),
                ('current', models.BooleanField(default=True)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['code', '-version'],
                'constraints': [models.UniqueConstraint(models.F('code'), models.F('version'), name='grading_ruleset_version_once'), models.UniqueConstraint(models.F('code'), condition=models.Q(('current', True)), name='grading_ruleset_one_current'), models.CheckConstraint(condition=models.Q(('purpose__in', ['appearance', 'structural', 'other'])), name='grading_ruleset_purpose_known'), models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='grading_ruleset_code_filled'), models.CheckConstraint(condition=models.Q(('title', ''), _negated=True), name='grading_ruleset_title_filled')],
            },
        ),
        migrations.CreateModel(
            name='RuleSetEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='grading.ruleset')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('code', models.SlugField(db_index=False, max_length=64)),
                ('version', models.PositiveIntegerField(default=1)),
                ('title', models.CharField(max_length=200)),
                ('purpose', models.CharField(choices=[('appearance', 'Appearance'), ('structural', 'Structural'), ('other', 'Other')], default='other', max_length=20)),
                ('origin', models.CharField(blank=True, max_length=400)),
                ('caution', models.TextField(blank=True)),
                ('rules', models.JSONField(blank=True, default=dict)),
                ('current', models.BooleanField(default=True)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Grade',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('rule_set', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='grades', to='grading.ruleset')),
                ('code', models.CharField(max_length=64)),
                ('title', models.CharField(blank=True, max_length=200)),
                ('description', models.TextField(blank=True)),
                ('rank', models.PositiveSmallIntegerField()),
                ('reject', models.BooleanField(default=False)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['rule_set', 'rank'],
                'constraints': [models.UniqueConstraint(models.F('rule_set'), models.F('code'), name='grading_grade_code_once'), models.UniqueConstraint(models.F('rule_set'), models.F('rank'), name='grading_grade_rank_once'), models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='grading_grade_code_filled')],
            },
        ),
        migrations.CreateModel(
            name='GradeEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='grading.grade')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('rule_set', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='grading.ruleset')),
                ('code', models.CharField(max_length=64)),
                ('title', models.CharField(blank=True, max_length=200)),
                ('description', models.TextField(blank=True)),
                ('rank', models.PositiveSmallIntegerField()),
                ('reject', models.BooleanField(default=False)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='GradedBoard',
            fields=[
            ],
            options={
                'proxy': True,
            },
            bases=('sawing.board',),
        ),
        migrations.CreateModel(
            name='BoardGrade',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('board', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='grades', to='sawing.board')),
                ('rule_set', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='board_grades', to='grading.ruleset')),
                ('grade', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='board_grades', to='grading.grade')),
                ('graded_length_m', models.FloatField(blank=True, null=True)),
                ('graded_width_mm', models.FloatField(blank=True, null=True)),
                ('graded_thickness_mm', models.FloatField(blank=True, null=True)),
                ('reason', models.CharField(blank=True, max_length=400, null=True)),
                ('grader', models.CharField(blank=True, max_length=150, null=True)),
                ('by', models.CharField(choices=[('person', 'A person'), ('rules', 'The rules')], db_default='person', max_length=10)),
                ('notes', models.JSONField(blank=True, null=True)),
                ('upload', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='portal.upload')),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'constraints': [models.UniqueConstraint(models.F('board'), models.F('rule_set'), name='grading_boardgrade_once_per_rule_set'), models.CheckConstraint(condition=models.Q(('by__in', ['person', 'rules'])), name='grading_boardgrade_by_known'), models.CheckConstraint(condition=models.Q(('graded_length_m__isnull', True), models.Q(('graded_length_m__gt', 0), ('graded_length_m__lt', 10000000.0)), _connector='OR'), name='grading_boardgrade_graded_length_m_positive', violation_error_message='graded_length_m must be above zero.'), models.CheckConstraint(condition=models.Q(('graded_width_mm__isnull', True), models.Q(('graded_width_mm__gt', 0), ('graded_width_mm__lt', 10000000.0)), _connector='OR'), name='grading_boardgrade_graded_width_mm_positive', violation_error_message='graded_width_mm must be above zero.'), models.CheckConstraint(condition=models.Q(('graded_thickness_mm__isnull', True), models.Q(('graded_thickness_mm__gt', 0), ('graded_thickness_mm__lt', 10000000.0)), _connector='OR'), name='grading_boardgrade_graded_thickness_mm_positive', violation_error_message='graded_thickness_mm must be above zero.')],
            },
        ),
        migrations.CreateModel(
            name='BoardGradeEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='grading.boardgrade')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('board', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='sawing.board')),
                ('rule_set', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='grading.ruleset')),
                ('grade', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='grading.grade')),
                ('graded_length_m', models.FloatField(blank=True, null=True)),
                ('graded_width_mm', models.FloatField(blank=True, null=True)),
                ('graded_thickness_mm', models.FloatField(blank=True, null=True)),
                ('reason', models.CharField(blank=True, max_length=400, null=True)),
                ('grader', models.CharField(blank=True, max_length=150, null=True)),
                ('by', models.CharField(choices=[('person', 'A person'), ('rules', 'The rules')], db_default='person', max_length=10)),
                ('notes', models.JSONField(blank=True, null=True)),
                ('upload', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='portal.upload')),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
