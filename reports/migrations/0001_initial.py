import django.db.models.deletion
import django.db.models.functions.datetime
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('grading', '0001_initial'),
        ('pghistory', '0007_auto_20250421_0444'),
        ('portal', '0001_initial'),
        ('trials', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='PriceList',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('trial', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='price_lists', to='trials.trial')),
                ('version', models.PositiveIntegerField(default=1)),
                ('currency', models.CharField(blank=True, max_length=3)),
                ('current', models.BooleanField(default=True)),
                ('upload', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='portal.upload')),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'ordering': ['trial', '-version'],
                'constraints': [models.UniqueConstraint(models.F('trial'), models.F('version'), name='reports_pricelist_version_once'), models.UniqueConstraint(models.F('trial'), condition=models.Q(('current', True)), name='reports_pricelist_one_current')],
            },
        ),
        migrations.CreateModel(
            name='PriceListEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='reports.pricelist')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('trial', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='trials.trial')),
                ('version', models.PositiveIntegerField(default=1)),
                ('currency', models.CharField(blank=True, max_length=3)),
                ('current', models.BooleanField(default=True)),
                ('upload', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='portal.upload')),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Price',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('price_list', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='prices', to='reports.pricelist')),
                ('grade', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='prices', to='grading.grade')),
                ('price_per_m3', models.FloatField()),
                ('min_width_mm', models.FloatField(blank=True, null=True)),
                ('max_width_mm', models.FloatField(blank=True, null=True)),
                ('min_thickness_mm', models.FloatField(blank=True, null=True)),
                ('notes', models.JSONField(blank=True, null=True)),
                ('upload', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='portal.upload')),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'constraints': [models.UniqueConstraint(models.F('price_list'), models.F('grade'), models.F('min_width_mm'), models.F('min_thickness_mm'), name='reports_price_band_once', nulls_distinct=False), models.CheckConstraint(condition=models.Q(('min_width_mm__isnull', True), ('max_width_mm__isnull', True), ('max_width_mm__gt', models.F('min_width_mm')), _connector='OR'), name='reports_price_band_runs_upwards'), models.CheckConstraint(condition=models.Q(('price_per_m3__isnull', True), models.Q(('price_per_m3__gte', 0), ('price_per_m3__lt', 10000000.0)), _connector='OR'), name='reports_price_price_per_m3_not_negative', violation_error_message='price_per_m3 must not be below zero.'), models.CheckConstraint(condition=models.Q(('min_width_mm__isnull', True), models.Q(('min_width_mm__gte', 0), ('min_width_mm__lt', 10000000.0)), _connector='OR'), name='reports_price_min_width_mm_not_negative', violation_error_message='min_width_mm must not be below zero.'), models.CheckConstraint(condition=models.Q(('min_thickness_mm__isnull', True), models.Q(('min_thickness_mm__gte', 0), ('min_thickness_mm__lt', 10000000.0)), _connector='OR'), name='reports_price_min_thickness_mm_not_negative', violation_error_message='min_thickness_mm must not be below zero.'), models.CheckConstraint(condition=models.Q(('max_width_mm__isnull', True), models.Q(('max_width_mm__gt', 0), ('max_width_mm__lt', 10000000.0)), _connector='OR'), name='reports_price_max_width_mm_positive', violation_error_message='max_width_mm must be above zero.')],
            },
        ),
        migrations.CreateModel(
            name='PriceEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='reports.price')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('price_list', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='reports.pricelist')),
                ('grade', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='grading.grade')),
                ('price_per_m3', models.FloatField()),
                ('min_width_mm', models.FloatField(blank=True, null=True)),
                ('max_width_mm', models.FloatField(blank=True, null=True)),
                ('min_thickness_mm', models.FloatField(blank=True, null=True)),
                ('notes', models.JSONField(blank=True, null=True)),
                ('upload', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='portal.upload')),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
    ]
