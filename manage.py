#!/usr/bin/env python3
"""The one command. On first use it makes its own environment and re-runs itself in it."""

import os
import sys

from tooling import bootstrap

if __name__ == "__main__":
    bootstrap.enter_environment(sys.argv)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tooling.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)
