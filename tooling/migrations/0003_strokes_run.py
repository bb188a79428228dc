"""Strokes that were written down before pieces kept their sum."""

from django.db import migrations

SUM = """
UPDATE tooling_piece SET strokes_run = COALESCE((
    SELECT SUM(e.strokes) FROM tooling_lengthentry e WHERE e.piece_id = tooling_piece.id
    AND NOT EXISTS (SELECT 1 FROM tooling_lengthentry c WHERE c.corrects_id = e.id)
), 0)
"""


class Migration(migrations.Migration):
    dependencies = [("tooling", "0002_real_toolrooms")]

    operations = [migrations.RunSQL(SUM, migrations.RunSQL.noop)]
