"""Entries that counters made name their counter, which until now was said in their keys alone."""

import datetime as dt

from django.db import migrations

CHUNK = 2_000


def key_base(counter):
    thing = f"press {counter.press.code}" if counter.press_id else f"die {counter.die.code}"
    names = (counter.device.plant.code[:30], counter.device.name[:40], thing[:40])
    return "|".join(["count", *(name.replace("|", "/") for name in names), ""])


def name_counters(apps, schema_editor):
    counters = apps.get_model("maintenance", "Counter").objects.select_related("device__plant", "press", "die")
    runs = apps.get_model("maintenance", "Run").objects
    corrections = apps.get_model("maintenance", "HitCorrection").objects
    for counter in counters:
        made = {"through": "counter", "device": counter.device.name, "key__startswith": key_base(counter)}
        of_die = {"die_id": counter.die_id} if counter.die_id else {}
        of_press = {} if counter.die_id else {"press_id": counter.press_id}
        runs.filter(**made, **of_die, **of_press).update(counter=counter)
        rows = corrections.filter(**made, **of_die)
        some = []
        for row in rows.only("pk", "key").iterator(chunk_size=CHUNK):
            row.counter, row.counted_from = counter, dt.datetime.fromisoformat(row.key.split("|")[4])
            some.append(row)
            if len(some) == CHUNK:
                corrections.bulk_update(some, ["counter", "counted_from"], batch_size=500)
                some = []
        corrections.bulk_update(some, ["counter", "counted_from"], batch_size=500)


class Migration(migrations.Migration):
    dependencies = [("maintenance", "0010_changes_and_counters_of_entries")]

    operations = [migrations.RunPython(name_counters, migrations.RunPython.noop, elidable=False)]
