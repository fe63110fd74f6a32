from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0002_trail")]

    operations = [
        migrations.AlterModelManagers(name="person", managers=[]),
        migrations.AddField(
            model_name="person",
            name="theme",
            field=models.CharField(
                blank=True,
                choices=[("", "as the device"), ("light", "light, for bright sun"), ("dark", "dark")],
                default="",
                max_length=5,
                verbose_name="look",
            ),
        ),
    ]
