#!/usr/bin/env python
"""The command line of the service."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "diestore.settings")
    try:
        from django.core.management import execute_from_command_line
    except ImportError:
        sys.exit("Django is not installed here. Run `make setup`, then `.venv/bin/python manage.py ...`.")
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
