"""The one Django app; it installs the history triggers after every migrate."""

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class ToolingConfig(AppConfig):
    name = "tooling"
    verbose_name = "rollroom"

    def ready(self) -> None:
        from tooling import history  # noqa: PLC0415 (models are loaded only now)

        post_migrate.connect(history.install_after_migrate, sender=self)
