import django.db.models.deletion
import django.db.models.functions.datetime
import django.db.models.functions.text
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('pghistory', '0007_auto_20250421_0444'),
    ]

    operations = [
        migrations.CreateModel(
            name='Trial',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('code', models.SlugField(max_length=32, unique=True)),
                ('name', models.CharField(max_length=200)),
                ('description', models.TextField(blank=True)),
                ('breast_height_m', models.FloatField(default=1.3)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['name'],
                'constraints': [models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='trials_trial_code_filled'), models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='trials_trial_name_filled'), models.CheckConstraint(condition=models.Q(('breast_height_m__isnull', True), models.Q(('breast_height_m__gt', 0), ('breast_height_m__lt', 10000000.0)), _connector='OR'), name='trials_trial_breast_height_m_positive', violation_error_message='breast_height_m must be above zero.')],
            },
        ),
        migrations.CreateModel(
            name='TrialEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='trials.trial')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('code', models.SlugField(db_index=False, max_length=32)),
                ('name', models.CharField(max_length=200)),
                ('description', models.TextField(blank=True)),
                ('breast_height_m', models.FloatField(default=1.3)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Site',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('trial', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sites', to='trials.trial')),
                ('code', models.CharField(max_length=64)),
                ('name', models.CharField(blank=True, max_length=200)),
                ('place', models.CharField(blank=True, max_length=200)),
                ('elevation_m', models.FloatField(blank=True, null=True)),
                ('planted_on', models.DateField(blank=True, null=True)),
                ('spacing_m', models.CharField(blank=True, help_text='Between rows × within rows, in m.', max_length=40)),
                ('design', models.CharField(blank=True, max_length=200)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.UniqueConstraint(models.F('trial'), models.F('code'), name='trials_site_code_once'), models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='trials_site_code_filled')],
            },
        ),
        migrations.CreateModel(
            name='SiteEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='trials.site')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('trial', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='trials.trial')),
                ('code', models.CharField(max_length=64)),
                ('name', models.CharField(blank=True, max_length=200)),
                ('place', models.CharField(blank=True, max_length=200)),
                ('elevation_m', models.FloatField(blank=True, null=True)),
                ('planted_on', models.DateField(blank=True, null=True)),
                ('spacing_m', models.CharField(blank=True, help_text='Between rows × within rows, in m.', max_length=40)),
                ('design', models.CharField(blank=True, max_length=200)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Block',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('site', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='blocks', to='trials.site')),
                ('code', models.CharField(max_length=64)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.UniqueConstraint(models.F('site'), models.F('code'), name='trials_block_code_once'), models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='trials_block_code_filled')],
            },
        ),
        migrations.CreateModel(
            name='BlockEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='trials.block')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('site', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='trials.site')),
                ('code', models.CharField(max_length=64)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Plot',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('block', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='plots', to='trials.block')),
                ('code', models.CharField(max_length=64)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['code'],
                'constraints': [models.UniqueConstraint(models.F('block'), models.F('code'), name='trials_plot_code_once'), models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='trials_plot_code_filled')],
            },
        ),
        migrations.CreateModel(
            name='PlotEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='trials.plot')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('block', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='trials.block')),
                ('code', models.CharField(max_length=64)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Trait',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('trial', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='traits', to='trials.trial')),
                ('code', models.SlugField(max_length=40)),
                ('name', models.CharField(max_length=120)),
                ('kind', models.CharField(choices=[('number', 'Number'), ('ordinal', 'Ordinal scale'), ('yes_no', 'Yes or no'), ('text', 'Text')], default='number', max_length=10)),
                ('unit', models.CharField(blank=True, max_length=20)),
                ('minimum', models.FloatField(blank=True, null=True)),
                ('maximum', models.FloatField(blank=True, null=True)),
                ('decimals', models.PositiveSmallIntegerField(default=0)),
                ('points', models.JSONField(blank=True, default=list)),
                ('method', models.TextField(blank=True)),
                ('instrument', models.CharField(blank=True, max_length=120)),
                ('shrinks', models.BooleanField(default=False, help_text='May be smaller than last time without being asked about.')),
                ('position', models.PositiveSmallIntegerField(default=0)),
                ('active', models.BooleanField(default=True)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['position', 'code'],
                'constraints': [models.UniqueConstraint(models.F('trial'), django.db.models.functions.text.Lower('code'), name='trials_trait_code_once'), models.CheckConstraint(condition=models.Q(('kind__in', ['number', 'ordinal', 'yes_no', 'text'])), name='trials_trait_kind_known'), models.CheckConstraint(condition=models.Q(('minimum__isnull', True), ('maximum__isnull', True), ('maximum__gte', models.F('minimum')), _connector='OR'), name='trials_trait_limits_in_order'), models.CheckConstraint(condition=models.Q(('decimals__lte', 6)), name='trials_trait_decimals_few'), models.CheckConstraint(condition=models.Q(('code', ''), _negated=True), name='trials_trait_code_filled'), models.CheckConstraint(condition=models.Q(('name', ''), _negated=True), name='trials_trait_name_filled')],
            },
        ),
        migrations.CreateModel(
            name='TraitEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='trials.trait')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('trial', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='trials.trial')),
                ('code', models.SlugField(db_index=False, max_length=40)),
                ('name', models.CharField(max_length=120)),
                ('kind', models.CharField(choices=[('number', 'Number'), ('ordinal', 'Ordinal scale'), ('yes_no', 'Yes or no'), ('text', 'Text')], default='number', max_length=10)),
                ('unit', models.CharField(blank=True, max_length=20)),
                ('minimum', models.FloatField(blank=True, null=True)),
                ('maximum', models.FloatField(blank=True, null=True)),
                ('decimals', models.PositiveSmallIntegerField(default=0)),
                ('points', models.JSONField(blank=True, default=list)),
                ('method', models.TextField(blank=True)),
                ('instrument', models.CharField(blank=True, max_length=120)),
                ('shrinks', models.BooleanField(default=False, help_text='May be smaller than last time without being asked about.')),
                ('position', models.PositiveSmallIntegerField(default=0)),
                ('active', models.BooleanField(default=True)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
