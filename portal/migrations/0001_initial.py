import django.contrib.auth.models
import django.contrib.auth.validators
import django.db.models.deletion
import django.db.models.functions.datetime
import django.db.models.functions.text
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('auth', '0012_alter_user_first_name_max_length'),
        ('pghistory', '0007_auto_20250421_0444'),
        ('sawing', '0001_initial'),
        ('trials', '0001_initial'),
    ]

    operations = [
        migrations.CreateModel(
            name='User',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('password', models.CharField(max_length=128, verbose_name='password')),
                ('last_login', models.DateTimeField(blank=True, null=True, verbose_name='last login')),
                ('is_superuser', models.BooleanField(default=False, help_text='Designates that this user has all permissions without explicitly assigning them.', verbose_name='superuser status')),
                ('username', models.CharField(error_messages={'unique': 'A user with that username already exists.'}, help_text='Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.', max_length=150, unique=True, validators=[django.contrib.auth.validators.UnicodeUsernameValidator()], verbose_name='username')),
                ('email', models.EmailField(blank=True, max_length=254, verbose_name='email address')),
                ('is_staff', models.BooleanField(default=False, help_text='Designates whether the user can log into this admin site.', verbose_name='staff status')),
                ('is_active', models.BooleanField(default=True, help_text='Designates whether this user should be treated as active. Unselect this instead of deleting accounts.', verbose_name='active')),
                ('date_joined', models.DateTimeField(default=django.utils.timezone.now, verbose_name='date joined')),
                ('full_name', models.CharField(blank=True, max_length=150)),
                ('groups', models.ManyToManyField(blank=True, help_text='The groups this user belongs to. A user will get all permissions granted to each of their groups.', related_name='user_set', related_query_name='user', to='auth.group', verbose_name='groups')),
                ('user_permissions', models.ManyToManyField(blank=True, help_text='Specific permissions for this user.', related_name='user_set', related_query_name='user', to='auth.permission', verbose_name='user permissions')),
            ],
            options={
                'verbose_name': 'user',
                'verbose_name_plural': 'users',
                'abstract': False,
                'constraints': [models.UniqueConstraint(django.db.models.functions.text.Lower('username'), name='portal_user_name_once', violation_error_message='There is a person of this user name already: choose another.')],
            },
            managers=[
                ('objects', django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name='Membership',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('user', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='memberships', to=settings.AUTH_USER_MODEL)),
                ('trial', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='memberships', to='trials.trial')),
                ('role', models.CharField(choices=[('field_crew', 'Field crew'), ('mill', 'Mill staff'), ('grader', 'Grader'), ('researcher', 'Researcher'), ('manager', 'Manager')], max_length=20)),
                ('active', models.BooleanField(default=True)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'constraints': [models.UniqueConstraint(models.F('user'), models.F('trial'), models.F('role'), name='portal_membership_once'), models.CheckConstraint(condition=models.Q(('role__in', ['field_crew', 'mill', 'grader', 'researcher', 'manager'])), name='portal_membership_role_known')],
            },
        ),
        migrations.CreateModel(
            name='MembershipEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='portal.membership')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('user', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL)),
                ('trial', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='trials.trial')),
                ('role', models.CharField(choices=[('field_crew', 'Field crew'), ('mill', 'Mill staff'), ('grader', 'Grader'), ('researcher', 'Researcher'), ('manager', 'Manager')], max_length=20)),
                ('active', models.BooleanField(default=True)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Upload',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=30)),
                ('trial', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='uploads', to='trials.trial')),
                ('study', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='uploads', to='sawing.study')),
                ('file_name', models.CharField(max_length=255)),
                ('sha256', models.CharField(max_length=64)),
                ('size_bytes', models.BigIntegerField()),
                ('content', models.FileField(blank=True, max_length=255, null=True, upload_to='%Y/%m')),
                ('state', models.CharField(choices=[('checked', 'Checked, waiting for your yes'), ('stored', 'Stored'), ('discarded', 'Set aside')], default='checked', max_length=20)),
                ('rows', models.IntegerField(default=0)),
                ('added', models.IntegerField(default=0)),
                ('already_there', models.IntegerField(default=0)),
                ('held', models.IntegerField(default=0)),
                ('notes', models.JSONField(default=list)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='uploads', to=settings.AUTH_USER_MODEL)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
                ('stored_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'indexes': [models.Index(fields=['trial', '-created_at'], name='portal_uplo_trial_i_f9d1d6_idx')],
                'constraints': [models.UniqueConstraint(models.F('kind'), models.F('trial'), models.F('study'), models.F('sha256'), condition=models.Q(('state', 'stored')), name='portal_upload_same_file_stored_once', nulls_distinct=False), models.CheckConstraint(condition=models.Q(('state__in', ['checked', 'stored', 'discarded'])), name='portal_upload_state_known'), models.CheckConstraint(condition=models.Q(('kind', ''), _negated=True), name='portal_upload_kind_filled'), models.CheckConstraint(condition=models.Q(('file_name', ''), _negated=True), name='portal_upload_file_name_filled'), models.CheckConstraint(condition=models.Q(('sha256', ''), _negated=True), name='portal_upload_sha256_filled'), models.CheckConstraint(condition=models.Q(('size_bytes__isnull', True), models.Q(('size_bytes__gte', 0), ('size_bytes__lt', 10000000.0)), _connector='OR'), name='portal_upload_size_bytes_not_negative', violation_error_message='size_bytes must not be below zero.'), models.CheckConstraint(condition=models.Q(('rows__isnull', True), models.Q(('rows__gte', 0), ('rows__lt', 10000000.0)), _connector='OR'), name='portal_upload_rows_not_negative', violation_error_message='rows must not be below zero.'), models.CheckConstraint(condition=models.Q(('added__isnull', True), models.Q(('added__gte', 0), ('added__lt', 10000000.0)), _connector='OR'), name='portal_upload_added_not_negative', violation_error_message='added must not be below zero.'), models.CheckConstraint(condition=models.Q(('already_there__isnull', True), models.Q(('already_there__gte', 0), ('already_there__lt', 10000000.0)), _connector='OR'), name='portal_upload_already_there_not_negative', violation_error_message='already_there must not be below zero.'), models.CheckConstraint(condition=models.Q(('held__isnull', True), models.Q(('held__gte', 0), ('held__lt', 10000000.0)), _connector='OR'), name='portal_upload_held_not_negative', violation_error_message='held must not be below zero.')],
            },
        ),
        migrations.CreateModel(
            name='UploadEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='portal.upload')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('kind', models.CharField(max_length=30)),
                ('trial', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='trials.trial')),
                ('study', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='sawing.study')),
                ('file_name', models.CharField(max_length=255)),
                ('sha256', models.CharField(max_length=64)),
                ('size_bytes', models.BigIntegerField()),
                ('content', models.FileField(blank=True, max_length=255, null=True, upload_to='%Y/%m')),
                ('state', models.CharField(choices=[('checked', 'Checked, waiting for your yes'), ('stored', 'Stored'), ('discarded', 'Set aside')], default='checked', max_length=20)),
                ('rows', models.IntegerField(default=0)),
                ('added', models.IntegerField(default=0)),
                ('already_there', models.IntegerField(default=0)),
                ('held', models.IntegerField(default=0)),
                ('notes', models.JSONField(default=list)),
                ('by', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
                ('stored_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='HeldRow',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('upload', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='held_rows', to='portal.upload')),
                ('row_number', models.IntegerField()),
                ('values', models.JSONField()),
                ('problems', models.JSONField()),
                ('differs', models.BooleanField(default=False, help_text='The row is sound but the portal already holds other values for its code.')),
                ('state', models.CharField(choices=[('waiting', 'Waiting'), ('stored', 'Mended and stored'), ('replaced', 'Stored in place of the earlier values'), ('set_aside', 'Set aside')], default='waiting', max_length=20)),
                ('settled_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('settled_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'indexes': [models.Index(condition=models.Q(('state', 'waiting')), fields=['upload'], name='portal_heldrow_waiting')],
                'constraints': [models.UniqueConstraint(models.F('upload'), models.F('row_number'), name='portal_heldrow_once'), models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'stored', 'replaced', 'set_aside'])), name='portal_heldrow_state_known'), models.CheckConstraint(condition=models.Q(models.Q(('settled_at__isnull', True), ('state', 'waiting')), models.Q(models.Q(('state', 'waiting'), _negated=True), ('settled_at__isnull', False)), _connector='OR'), name='portal_heldrow_settled_has_a_date')],
            },
        ),
        migrations.CreateModel(
            name='HeldRowEvent',
            fields=[
                ('pgh_id', models.AutoField(primary_key=True, serialize=False)),
                ('pgh_created_at', models.DateTimeField(auto_now_add=True)),
                ('pgh_label', models.TextField(help_text='The event label.')),
                ('pgh_obj', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='events', to='portal.heldrow')),
                ('pgh_context', models.ForeignKey(db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', to='pghistory.context')),
                ('id', models.BigIntegerField()),
                ('upload', models.ForeignKey(db_constraint=False, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to='portal.upload')),
                ('row_number', models.IntegerField()),
                ('values', models.JSONField()),
                ('problems', models.JSONField()),
                ('differs', models.BooleanField(default=False, help_text='The row is sound but the portal already holds other values for its code.')),
                ('state', models.CharField(choices=[('waiting', 'Waiting'), ('stored', 'Mended and stored'), ('replaced', 'Stored in place of the earlier values'), ('set_aside', 'Set aside')], default='waiting', max_length=20)),
                ('settled_by', models.ForeignKey(blank=True, db_constraint=False, null=True, on_delete=django.db.models.deletion.DO_NOTHING, related_name='+', related_query_name='+', to=settings.AUTH_USER_MODEL)),
                ('settled_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Job',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(max_length=40)),
                ('title', models.CharField(max_length=200)),
                ('trial', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to='trials.trial')),
                ('parameters', models.JSONField(blank=True, default=dict)),
                ('link', models.CharField(blank=True, help_text='Page that shows what came of it.', max_length=400)),
                ('state', models.CharField(choices=[('waiting', 'Waiting'), ('running', 'Running'), ('done', 'Done'), ('failed', 'Failed'), ('stopped', 'Stopped')], default='waiting', max_length=10)),
                ('done', models.BigIntegerField(db_default=0, default=0)),
                ('total', models.BigIntegerField(db_default=0, default=0)),
                ('step', models.CharField(blank=True, max_length=200)),
                ('result', models.JSONField(blank=True, null=True)),
                ('problem', models.TextField(blank=True)),
                ('attempts', models.IntegerField(db_default=0, default=0)),
                ('stop_asked', models.BooleanField(db_default=False, default=False)),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='jobs', to=settings.AUTH_USER_MODEL)),
                ('created_at', models.DateTimeField(db_default=django.db.models.functions.datetime.Now(), editable=False)),
                ('started_at', models.DateTimeField(blank=True, null=True)),
                ('ended_at', models.DateTimeField(blank=True, null=True)),
            ],
            options={
                'ordering': ['-pk'],
                'indexes': [models.Index(fields=['trial', '-created_at'], name='portal_job_of_trial')],
                'constraints': [models.CheckConstraint(condition=models.Q(('state__in', ['waiting', 'running', 'done', 'failed', 'stopped'])), name='portal_job_state_known'), models.CheckConstraint(condition=models.Q(models.Q(('ended_at__isnull', True), ('state__in', ['waiting', 'running'])), models.Q(models.Q(('state__in', ['waiting', 'running']), _negated=True), ('ended_at__isnull', False)), _connector='OR'), name='portal_job_ended_has_a_date'), models.CheckConstraint(condition=models.Q(('kind', ''), _negated=True), name='portal_job_kind_filled'), models.CheckConstraint(condition=models.Q(('title', ''), _negated=True), name='portal_job_title_filled'), models.CheckConstraint(condition=models.Q(('done__isnull', True), models.Q(('done__gte', 0), ('done__lt', 10000000.0)), _connector='OR'), name='portal_job_done_not_negative', violation_error_message='done must not be below zero.'), models.CheckConstraint(condition=models.Q(('total__isnull', True), models.Q(('total__gte', 0), ('total__lt', 10000000.0)), _connector='OR'), name='portal_job_total_not_negative', violation_error_message='total must not be below zero.')],
            },
        ),
    ]
