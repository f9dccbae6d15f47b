"""A photo can be set aside by a manager; its history says so too."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("trials", "0005_of_its_assessment")]

    operations = [
        migrations.AddField(
            model_name=name,
            name="set_aside",
            field=models.BooleanField(db_default=False, default=False),
        )
        for name in ("photo", "photoevent")
    ]
